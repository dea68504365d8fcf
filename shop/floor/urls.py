from django.urls import include, path

app_name = "floor"
urlpatterns = [
    path("", include("shop.floor.views.floor")),
    path("", include("shop.floor.hands_urls")),
    path("", include("shop.floor.times_urls")),
    path("", include("shop.floor.doing_urls")),
    path("", include("shop.floor.custody_urls")),
    path("", include("shop.floor.cards_urls")),
    path("", include("shop.floor.material_urls")),
    path("", include("shop.floor.leaving_urls")),
]
