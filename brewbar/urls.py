"""Every address of the application, by room."""

from django.urls import include, path, re_path

from brewbar.web.views import no_such_address

urlpatterns = [
    path("", include("brewbar.web.urls")),
    path("", include("brewbar.crew.urls")),
    path("", include("recipes.urls")),
    path("", include("calibration.urls")),
    re_path(r"^api/", no_such_address, name="api_nowhere"),
]
handler400 = "brewbar.web.views.cannot_be_read"
handler403 = "brewbar.web.views.forbidden"
handler404 = "brewbar.web.views.not_found"
handler500 = "brewbar.web.views.server_error"
