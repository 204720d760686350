from django.urls import path

from brewbar.crew.views import record, sign_in

app_name = "crew"
urlpatterns = [
    path("sign-in/", sign_in.sign_in, name="sign_in"),
    path("sign-out/", sign_in.sign_out, name="sign_out"),
    path("place/", sign_in.switch_place, name="switch_place"),
    path("password/", sign_in.password, name="password"),
    path("record/", record.changes, name="record"),
]
