"""How a trial and its arms are named: one name for however it is written on the command line or in a log."""

from benchwater.text import near_names

KNOWN = ("leader", "mold_temp", "build", "coat", "guard")
_ALSO = {"temperature": "mold_temp", "mold_temperature": "mold_temp", "bait": "build", "powder": "coat"}
_YES_NO = {"y": "yes", "with": "yes", "n": "no", "without": "no", "none": "no"}


def trial_name(text: str) -> str:
    """Return the name of a trial: small letters, words joined by `_`; a slip in a known name is put right."""
    name = "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
    name = _ALSO.get(name, name)
    near = near_names(name, KNOWN, least=0.75)
    return near[0] if near else name


def arm_name(text: str) -> str:
    """Return an arm in small letters without spaces, so that `300 F` and `300f` are one; `y` is yes."""
    name = "".join(text.casefold().replace("°", "").split())
    return _YES_NO.get(name, name)
