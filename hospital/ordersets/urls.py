from django.urls import path

from hospital.ordersets import views

app_name = "ordersets"
urlpatterns = [
    path("order-sets/", views.sets, name="sets"),
    path("order-sets/add/", views.add, name="add"),
    path("order-sets/<int:set_id>/", views.one, name="set"),
    path("order-sets/<int:set_id>/change/", views.change, name="change"),
    path("order-sets/<int:set_id>/put-away/", views.put_away, name="put-away"),
    path("order-sets/<int:set_id>/add/<slug:what>/", views.line_add, name="line-add"),
    path("order-sets/<int:set_id>/lines/<int:line_id>/", views.line_change, name="line-change"),
    path("order-sets/<int:set_id>/lines/<int:line_id>/take-out/", views.line_out, name="line-out"),
    path("patients/<case:case_number>/order-sets/", views.choose, name="choose"),
    path("patients/<case:case_number>/order-sets/<int:set_id>/", views.sign, name="sign"),
]
