app_name = "plans"
urlpatterns = []
