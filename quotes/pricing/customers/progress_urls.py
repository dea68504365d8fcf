"""Addresses among those of `customer_urls`, before the one that takes whatever is left for a secret."""

from django.urls import path

from quotes.pricing.customers import progress_views as views

urlpatterns = [
    path("progress/", views.progress, name="progress"),
    path("ask/", views.ask, name="ask"),
    path("ask/link/", views.ask_for_link, name="ask_for_link"),
    path("photograph/<uuid:uid>/", views.photograph, name="photograph"),
    path("photograph/<uuid:uid>/small/", views.small_photograph, name="small_photograph"),
]
