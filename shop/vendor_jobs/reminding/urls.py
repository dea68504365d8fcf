from django.urls import path

from shop.vendor_jobs.reminding import views

app_name = "due"
urlpatterns = [path("<str:secret>.ics", views.feed, name="feed")]
