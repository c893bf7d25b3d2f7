app_name = "boards"
urlpatterns = []
