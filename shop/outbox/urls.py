from django.urls import path

from shop.outbox import views

app_name = "outbox"
urlpatterns = [
    path("", views.background_jobs, name="background_jobs"),
    path("<uuid:uid>/again/", views.try_again, name="try_again"),
    path("<uuid:uid>/done/", views.call_done, name="call_done"),
]
