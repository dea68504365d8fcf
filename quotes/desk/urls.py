from quotes.desk.views import (
    beginning,
    compare,
    damage,
    days,
    editor,
    facts,
    finish,
    home,
    issuing,
    search,
    steps,
    times,
    why,
    workshop,
)

app_name = "desk"
urlpatterns = [
    *home.urlpatterns,
    *search.urlpatterns,
    *beginning.urlpatterns,
    *editor.urlpatterns,
    *finish.urlpatterns,
    *damage.urlpatterns,
    *steps.urlpatterns,
    *facts.urlpatterns,
    *issuing.urlpatterns,
    *workshop.urlpatterns,
    *times.urlpatterns,
    *why.urlpatterns,
    *days.urlpatterns,
    *compare.urlpatterns,
]
