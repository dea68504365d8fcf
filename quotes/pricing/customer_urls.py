from django.urls import path

from quotes.pricing import customer_views as views
from quotes.pricing import progress_urls

app_name = "customer"
urlpatterns = [
    path("quote/", views.quote, name="quote"),
    path("quote/pdf/", views.paper, name="paper"),
    *progress_urls.urlpatterns,
    # Last: whatever else stands here is taken for a secret.
    path("<str:secret>/", views.enter, name="enter"),
]
