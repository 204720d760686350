"""Which company a command is about: the only one, or the one that was named."""

from brewbar.crew.models import Company
from brewbar.refusal import Refusal


def which_company(name: str | None) -> Company:
    """Raises Refusal where there is none, several and no name, or none of that name."""
    companies = list(Company.objects.order_by("name"))
    if not companies:
        raise Refusal("There is no company yet: python3 manage.py serve opens the first one.")
    wanted = [one for one in companies if name is None or one.name.casefold() == name.strip().casefold()]
    if len(wanted) == 1:
        return wanted[0]
    known = ", ".join(one.name for one in companies)
    if name is None:
        raise Refusal(f"Which company? Say --company with one of: {known}.")
    raise Refusal(f"There is no company called {name}. Known: {known}.")
