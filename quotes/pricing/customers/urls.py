from django.urls import path

from quotes.pricing.customers import progress_urls, views

app_name = "customer"
urlpatterns = [
    path("quote/", views.quote, name="quote"),
    path("quote/pdf/", views.paper, name="paper"),
    *progress_urls.urlpatterns,
    # Last: whatever else stands here is taken for a secret.
    path("<str:secret>/", views.enter, name="enter"),
]
