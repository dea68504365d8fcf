from allauth.account import views as allauth
from django.urls import include, path

from shop.people import views
from shop.people.forms import NewPasswordForm, SignInForm

# The names are allauth's own. Its other pages (sign-up, mail, reset) are not served at all.
urlpatterns = [
    path("", allauth.LoginView.as_view(form_class=SignInForm), name="account_login"),
    path("out/", allauth.LogoutView.as_view(), name="account_logout"),
    path("password/", allauth.PasswordChangeView.as_view(form_class=NewPasswordForm), name="account_change_password"),
    path("look/", include(([path("", views.look, name="look")], "people"))),
]
