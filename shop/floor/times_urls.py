from shop.floor.views import day, tap, times

urlpatterns = [*tap.urlpatterns, *day.urlpatterns, *times.urlpatterns]
