from django.urls import path

from shop.floor.views import leaving

urlpatterns = [
    path("leaving/", leaving.leaving_bikes, name="leaving_bikes"),
    path("restorations/<uuid:uid>/leaving/", leaving.leaving, name="leaving"),
    path("restorations/<uuid:uid>/runs/", leaving.begin_run, name="begin_run"),
    path("restorations/<uuid:uid>/snags/", leaving.add_snag, name="add_snag"),
    path("runs/<uuid:uid>/", leaving.run, name="run"),
    path("runs/<uuid:uid>/tick/", leaving.tick, name="tick_run"),
    path("runs/<uuid:uid>/finish/", leaving.finish_run, name="finish_run"),
    path("runs/<uuid:uid>/take-back/", leaving.drop_run, name="drop_run"),
    path("snags/<uuid:uid>/", leaving.snag, name="snag"),
    path("snags/<uuid:uid>/step/", leaving.trace_snag, name="trace_snag"),
    path("snags/<uuid:uid>/settle/", leaving.settle_snag, name="settle_snag"),
]
