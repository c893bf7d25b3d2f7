from django.urls import path

from hospital.mail import views

app_name = "mail"
urlpatterns = [
    path("post/", views.post, name="post"),
    path("post/<int:letter_id>/", views.letter, name="letter"),
    path("post/<int:letter_id>/again/", views.again, name="again"),
    path("post/<int:letter_id>/settle/", views.settle, name="settle"),
    path("my-letters/", views.choose, name="choose"),
]
