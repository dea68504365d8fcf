from django.urls import path

from shop.floor.views import material

urlpatterns = [
    path("tasks/<uuid:uid>/mixes/", material.mixes, name="mixes"),
    path("mixes/<uuid:uid>/take-back/", material.take_back, name="take_back_mix"),
]
