"""How a trial and its arms are named: one name for however it is written on the command line or in a log."""

KNOWN = ("leader", "mold_temp", "build", "coat", "guard")
_ALSO = {"temperature": "mold_temp", "mold_temperature": "mold_temp", "bait": "build", "powder": "coat"}
_YES_NO = {"y": "yes", "with": "yes", "n": "no", "without": "no", "none": "no"}


def trial_name(text: str) -> str:
    """Return the name of a trial: small letters, words joined by `_`.

    `Leaders` is `leader`, but `leader 2` is a trial of its own, and so is a name with a slip in it.
    """
    name = "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
    name = _ALSO.get(name, name)
    return name.removesuffix("s") if name.removesuffix("s") in KNOWN else name


def arm_name(text: str) -> str:
    """Return an arm in small letters without spaces, so that `300 F` and `300f` are one; `y` is yes."""
    name = "".join(text.casefold().replace("°", "").split())
    return _YES_NO.get(name, name)
