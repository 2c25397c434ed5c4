"""Contrast (WCAG 2), CIELAB, and colours as seen with colour blindness."""

# Severity 1 of Machado, Oliveira and Fernandes (2009), on linear RGB.
SIGHT = {
    "full": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "no red": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "no green": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "no blue": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def lightness(colour: str) -> float:
    """Return CIELAB lightness, 0 to 100: all that grey print keeps of a colour."""
    return lab(colour, "full")[0]


def _luminance(colour: str) -> float:
    return sum(share * part for share, part in zip((0.2126, 0.7152, 0.0722), _linear(colour), strict=True))


def _linear(colour: str) -> list[float]:
    parts = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    return [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]


def lab(colour: str, sight: str) -> tuple[float, float, float]:
    """Return CIELAB (D65) of a colour as seen, for the CIE 1976 distance."""
    plain = _linear(colour)
    red, green, blue = (
        min(1.0, max(0.0, sum(weight * part for weight, part in zip(row, plain, strict=True))))
        for row in SIGHT[sight]
    )
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.089
    fx, fy, fz = (each ** (1 / 3) if each > 0.008856 else 7.787 * each + 16 / 116 for each in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)
