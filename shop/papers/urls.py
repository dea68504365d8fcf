from django.urls import path

from shop.papers import views

app_name = "papers"
urlpatterns = [path("<uuid:uid>/", views.document, name="document")]
