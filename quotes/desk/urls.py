from quotes.desk.views import beginning, editor, facts, home, issuing, steps, workshop

app_name = "desk"
urlpatterns = [
    *home.urlpatterns,
    *beginning.urlpatterns,
    *editor.urlpatterns,
    *steps.urlpatterns,
    *facts.urlpatterns,
    *issuing.urlpatterns,
    *workshop.urlpatterns,
]
