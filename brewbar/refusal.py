"""What stops a command, in words for whoever started it."""


class Refusal(Exception):
    """One kind sentence: what is in the way, and the command or setting that mends it."""
