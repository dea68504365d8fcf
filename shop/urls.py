from django.urls import include, path

urlpatterns = [
    path("sign-in/", include("shop.people.urls")),
    path("papers/", include("shop.papers.urls")),
    path("background-jobs/", include("shop.outbox.urls")),
    path("due/", include("shop.vendor_jobs.reminding.urls")),
    path("floor/", include("shop.floor.urls")),
    path("quotes/", include("quotes.pricing.urls")),
    path("learning/", include("quotes.learning.urls")),
    path("c/", include("quotes.pricing.customers.urls")),
    path("", include("quotes.desk.urls")),
]
