from django.urls import path

from quotes.pricing import views

app_name = "pricing"
urlpatterns = [
    path("<uuid:uid>/", views.quote, name="quote"),
    path("<uuid:uid>/paper/", views.paper, name="paper"),
    path("<uuid:uid>/costs/", views.sheet, name="sheet"),
]
