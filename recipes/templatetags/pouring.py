"""What is said wherever somebody pours."""

from django.template import Library
from django.utils.translation import gettext as _

from recipes.brewing.safety import POURING

register = Library()


@register.simple_tag
def pouring_cautions() -> list[str]:
    return [_(one) for one in POURING]
