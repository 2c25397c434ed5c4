"""How each number of the section is made, with its published source."""

METHODS = (
    "Shares carry Wilson's score interval (Wilson 1927), the castings divided by the design effect of "
    "castings poured in one fill (Rao and Scott 1992; Korn and Graubard 1998) where there are enough "
    "fills to tell.",
    "Trend over bins of temperature: Cochran 1954 and Armitage 1955, over the design effect within bins.",
    "Cold flaws (short fill, cold shut) and hot ones (flash, porosity) are fitted apart over mold "
    "temperature by penalised logistic regression (Firth 1993; Heinze and Schemper 2002), the fill as "
    "cluster (dispersion: Fletcher 2012). Other flaws are a constant share. Where most bad castings name "
    "no flaw, those are taken as cold ones.",
    "Target temperature and the window's upper end: where the sum first and last meets the bench's target, "
    "with profile likelihood limits (Williams 1986; the problem: Fieller 1954) that allow for the doubt in "
    "all three shares, by F as the fills' likeness is an estimate (Venables and Ripley 2002).",
    "Cavities at equal temperature: tested after Mantel and Haenszel 1959 within fills, or within bins of "
    "temperature where cavities were poured apart; p-values after Holm 1979. How many times as often one "
    "fails: ratio of shares within the same, mean over them (Greenland and Robins 1985).",
    "Sessions: p-chart with limits for unequal sizes (Shewhart 1931; Montgomery, Introduction to "
    "Statistical Quality Control), one chart a mold, limits widened by the design effect of fills within "
    "sessions.",
    "Worth of advice: the inserts of the bad castings it is about, as far as they are lost with them, at the "
    "price that What each bait cost takes.",
    "Heat balance: the mold as one lump (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, "
    "chapter 5), by the times of the fills where the rows tell them, else in steps of one fill, so that the "
    "bench's own rhythm is part of the fitted loss. Heat capacity and loss start from the mold's mass "
    "(aluminium alloy 6061: 896 J/kgK, 2700 kg/m³, UNS A96061 data sheets; 10 W/m²K to air of 20 °C, after "
    "Cengel, Heat Transfer) and are fitted to the measured fills. Lead gives 148 J/kgK liquid, 136 solid "
    "(Dinsdale 1991) and 23.0 kJ/kg on freezing (CRC Handbook); tin-bismuth 188, 167 and 45 (elements "
    "weighted by mass; from memory). Sprues take half the castings' metal again: common practice, no "
    "source.",
    "Warm-up: the two counts bracket it: castings leave as warm as the mold, or every fill gives only what "
    "one does at the target. Without a mold mass: the middle session's first fill at the target, less one.",
    "Fills without a reading are estimated by the same balance, carried on from the reading before, and "
    "from the usual first reading (else 20 °C) where a session has none. Estimates stand apart from "
    "readings throughout.",
    "Infrared: a gun takes what a surface radiates and mirrors for a surface of its own setting (Planck's "
    "law, 8 to 14 µm). Emissivities: published tables (CRC; Thermal Radiation Properties Survey 1960). It "
    "is suspected where a remark names it, or where readings lie over three times closer to the air than "
    "book values have it.",
)
