from django.urls import path

from shop.papers import photographs_views, views

app_name = "papers"
urlpatterns = [
    path("<uuid:uid>/", views.document, name="document"),
    path("photographs/<uuid:uid>/", photographs_views.photograph, name="photograph"),
    path("photographs/<uuid:uid>/thumbnail/", photographs_views.thumbnail, name="thumbnail"),
]
