"""How each number of the section is made, with its published source."""

METHODS = (
    "Shares: Wilson's score interval (Wilson 1927), the castings divided by the design effect of fills "
    "(Rao and Scott 1992; Korn and Graubard 1998) where there are fills enough to tell.",
    "Trend over bins of temperature: Cochran 1954 and Armitage 1955, over the design effect within bins.",
    "Cold flaws (short fill, cold shut) and hot ones (flash, porosity) are fitted apart over mold "
    "temperature by penalised logistic regression (Firth 1993; Heinze and Schemper 2002), fills as "
    "clusters (dispersion: Fletcher 2012); other flaws are a constant share. Where most bad castings name "
    "no flaw, those are taken as cold ones.",
    "Target temperature and the window's upper end: where the sum first and last meets the target, with "
    "profile likelihood limits (Williams 1986; the problem: Fieller 1954) for the doubt in all three shares, "
    "by F as the fills' likeness is an estimate (Venables and Ripley 2002).",
    "Cavities at equal temperature: Mantel and Haenszel 1959 within fills, or within bins of temperature "
    "where poured apart; p-values after Holm 1979. So many times as often: ratio of shares within the same, "
    "mean over them (Greenland and Robins 1985).",
    "Sessions: p-chart for unequal sizes (Shewhart 1931; Montgomery, Introduction to Statistical Quality "
    "Control), one a mold, limits widened by the design effect of fills within sessions.",
    "Worth of advice: the inserts of its bad castings, as far as they are lost with them, at the price that "
    "What each bait cost takes.",
    "Heat balance: the mold as one lump (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, "
    "chapter 5), by the times of the fills, else in steps of one fill, so that the bench's rhythm is part of "
    "the fitted loss. Heat capacity and loss start from the mold's mass (aluminium alloy 6061: 896 J/kgK, "
    "2700 kg/m³, UNS A96061 data sheets; 10 W/m²K to air of 20 °C, after Cengel, Heat Transfer) and are "
    "fitted to the measured fills. Lead gives 148 J/kgK liquid, 136 solid (Dinsdale 1991) and 23.0 kJ/kg on "
    "freezing (CRC Handbook); tin-bismuth 188, 167 and 45 (elements by mass; from memory). Sprues take half "
    "the castings' metal again: common practice, no source.",
    "Warm-up: two counts bracket it: castings leave as warm as the mold, or every fill gives only what one "
    "does at the target. Without a mold mass: the middle session's first fill at the target, less one.",
    "Fills without a reading: by the same balance, from the reading before, else from the usual first "
    "reading (else 20 °C). Estimates stand apart from readings throughout.",
    "Infrared: a gun takes what a surface radiates and mirrors for one of its own setting (Planck's law, 8 "
    "to 14 µm). Emissivities: CRC; Thermal Radiation Properties Survey 1960. Suspected where a remark names "
    "it, or readings lie over three times closer to the air than book values have it.",
)
