app_name = "logs"
urlpatterns = []
