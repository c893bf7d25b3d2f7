from django.urls import path

from hospital.register import views

app_name = "register"
urlpatterns = [
    path("", views.register, name="register"),
    path("pages/open/", views.open_page, name="open"),
    path("rules/", views.change_rules, name="rules"),
    path("check/", views.check, name="check"),
    path("count-sheet/", views.count_sheet, name="count-sheet"),
    path("register.pdf", views.print_set, name="print"),
    path("register.csv", views.export, name="export"),
    path("pages/<int:page_id>/", views.page, name="page"),
    path("pages/<int:page_id>/receive/", views.receive, name="receive"),
    path("pages/<int:page_id>/use/", views.use, name="use"),
    path("pages/<int:page_id>/discard/", views.discard, name="discard"),
    path("pages/<int:page_id>/transfer/", views.transfer, name="transfer"),
    path("pages/<int:page_id>/count/", views.count, name="count"),
    path("pages/<int:page_id>/lines/<int:number>/correct/", views.correct, name="correct"),
    path("pages/<int:page_id>/lines/<int:number>/settle/", views.settle, name="settle"),
    path("pages/<int:page_id>/lines/<int:number>/witness/", views.witness, name="witness"),
]
