from django.template import Library

from calibration.signal_figure import told
from calibration.signal_line import Line, Point

register = Library()


@register.filter
def off_by(point: Point, line: Line) -> str:
    """How far a day's brews lay from what was foretold, in the unit of the measure."""
    return told(point, line)
