app_name = "releases"
urlpatterns = []
