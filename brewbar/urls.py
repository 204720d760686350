"""Every address of the application, by room."""

from django.urls import include, path

urlpatterns = [
    path("", include("brewbar.web.urls")),
    path("", include("brewbar.crew.urls")),
    path("", include("recipes.urls")),
    path("", include("calibration.urls")),
]
handler403 = "brewbar.web.views.forbidden"
handler404 = "brewbar.web.views.not_found"
handler500 = "brewbar.web.views.server_error"
