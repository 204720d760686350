from django.urls import path

from calibration.views import (
    band,
    charts,
    entry,
    instrument_checks,
    instruments,
    readings,
    shift,
    strength,
)

app_name = "calibration"
urlpatterns = [
    path("c/", entry.find_code, name="find_code"),
    path("c/<str:code>/", entry.code, name="code"),
    path("c/<str:code>/<int:printed>/", entry.code, name="code"),
    path("readings/<uuid:uuid>/", readings.reading, name="reading"),
    path("readings/<uuid:uuid>/correct/", entry.correct, name="correct"),
    path("readings/<uuid:uuid>/void/", readings.void, name="void"),
    path("instruments/", instruments.instruments, name="instruments"),
    path("instruments/new/", instruments.instrument_new, name="instrument_new"),
    path("instruments/<int:pk>/", instruments.instrument, name="instrument"),
    path("instruments/<int:pk>/check/", instrument_checks.check_new, name="check_new"),
    path("instruments/<int:pk>/checks/", instrument_checks.instrument_checks, name="instrument_checks"),
    path(
        "instruments/<int:pk>/checks/figure.json",
        instrument_checks.instrument_figure,
        name="instrument_figure",
    ),
    path("instruments/<int:pk>/checks/table.csv", instrument_checks.instrument_csv, name="instrument_csv"),
    path("instruments/<int:pk>/retire/", instruments.instrument_retire, name="instrument_retire"),
    path("my-results/", shift.mine, name="mine"),
    path("today/", shift.today, name="today"),
    path("charts/", charts.charts, name="charts"),
    path("charts/figure.json", charts.figure, name="figure"),
    path("charts/table.csv", charts.chart_csv, name="chart_csv"),
    path("charts/strength/", strength.strength, name="strength"),
    path("charts/strength/figure.json", strength.strength_figure, name="strength_figure"),
    path("charts/strength/table.csv", strength.strength_csv, name="strength_csv"),
    path("charts/band/", band.band, name="band"),
]
