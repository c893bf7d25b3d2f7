from django.urls import path

from hospital.clutches import views

app_name = "clutches"
urlpatterns = [
    path("", views.clutches, name="clutches"),
    path("begin/", views.begin, name="begin"),
    path("<int:clutch_id>/", views.clutch, name="clutch"),
    path("<int:clutch_id>/edit/", views.edit, name="edit"),
    path("<int:clutch_id>/induce/", views.induce, name="induce"),
    path("<int:clutch_id>/lay/", views.lay, name="lay"),
    path("<int:clutch_id>/move/", views.move, name="move"),
    path("<int:clutch_id>/candle/", views.candle, name="candle"),
    path("<int:clutch_id>/lose/", views.lose, name="lose"),
    path("<int:clutch_id>/hatch/", views.hatch, name="hatch"),
    path("<int:clutch_id>/weigh/", views.weigh_eggs, name="weigh-eggs"),
    path("<int:clutch_id>/eggs/<int:number>/", views.egg, name="egg"),
    path("<int:clutch_id>/eggs/<int:number>/weights/<int:weight_id>/correct/", views.correct_weight, name="correct-weight"),
    path("<int:clutch_id>/eggs/<int:number>/take-back/", views.take_loss_back, name="take-loss-back"),
]
