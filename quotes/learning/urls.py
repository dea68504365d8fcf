from django.urls import path

from quotes.learning import views

app_name = "learning"
urlpatterns = [
    path("", views.suggestions, name="suggestions"),
    path("study/", views.study, name="study"),
    path("suggestions/<uuid:uid>/", views.suggestion, name="suggestion"),
    path("suggestions/<uuid:uid>/accept/", views.accept, name="accept"),
    path("suggestions/<uuid:uid>/refuse/", views.refuse, name="refuse"),
    path("held/", views.calibration, name="calibration"),
    path("alike/", views.look_alikes, name="look_alikes"),
]
