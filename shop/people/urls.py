from allauth.account import views as allauth
from django.urls import include, path

from shop.people import tablet_views, views
from shop.people.forms import NewPasswordForm, SignInForm

# The names are allauth's own. Its other pages (sign-up, mail, reset) are not served at all.
urlpatterns = [
    path("", allauth.LoginView.as_view(form_class=SignInForm), name="account_login"),
    path("out/", allauth.LogoutView.as_view(), name="account_logout"),
    path("password/", allauth.PasswordChangeView.as_view(form_class=NewPasswordForm), name="account_change_password"),
    path(
        "",
        include(
            (
                [
                    path("look/", views.look, name="look"),
                    path("tablet/", tablet_views.enrol, name="enrol"),
                    path("tablet/<str:code>/", tablet_views.enrol, name="enrol"),
                ],
                "people",
            )
        ),
    ),
]
