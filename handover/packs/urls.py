app_name = "packs"
urlpatterns = []
