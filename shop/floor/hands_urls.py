from django.urls import path

from shop.floor.views import hands

urlpatterns = [
    path("people/<uuid:uid>/pin/", hands.pin, name="pin"),
    path("lock/", hands.put_down, name="put_down"),
]
