"""How the numbers of this section are made, with their published sources."""

METHODS = (
    "A row of the pour log without a count is one casting. Shares: Wilson's score interval (Wilson 1927), "
    "the castings divided by the design effect of sessions (Rao and Scott 1992), the mold a stratum where "
    "molds are put together: at most the mean castings of a session, weighted by them; times (t/z)² for "
    "few sessions (Korn and Graubard 1998); at least 1. It is that of the season to date, for a month too. "
    "In a single session fills take the place of sessions. Where rows set aside could move a share out of "
    "its interval, the limits are those of all of them good and of all bad (Horowitz and Manski 2000); a "
    "row whose count is not known counts as the log's middle row, and a month has those without a date too.",
    "Trend over bins of temperature, scored by their middles: Cochran 1954 and Armitage 1955, over the "
    "design effect of sessions within bins.",
    "Cold flaws (short fill, cold shut) and hot ones (flash, porosity) are fitted apart over mold "
    "temperature by penalised logistic regression (Firth 1993; Heinze and Schemper 2002); other flaws are "
    "a constant share. Where most bad castings name no flaw, those are taken as cold ones. Dispersion: "
    "squares of what sessions lie beside the fit over what chance does to them, capped and with (t/z)² as "
    "above. That flaws change with temperature is tested within sessions (Mantel 1963) and over all, each "
    "at 2.5 %.",
    "Target temperature and the window's upper end: where the sum first and last meets the target, with "
    "profile likelihood limits (Williams 1986; the problem: Fieller 1954) for the doubt in all three "
    "shares. Where nothing was poured within 20 K of such an end, advice takes the reading next to it "
    "that is inside the window. Without a thermometer the number of the fill takes the place of the "
    "temperature.",
    "Cavities at equal temperature: ratio of shares within fills, or within bins of temperature or "
    "sessions where poured apart (Greenland and Robins 1985; limits as Sato 1990); p-values after Holm "
    "1979, and limits at the level that this leaves.",
    "Sessions: p-chart for unequal sizes (Shewhart 1931; Montgomery, Introduction to Statistical Quality "
    "Control), one a mold, limits widened by the design effect of fills within sessions.",
    "Worth of advice: the inserts of the bad castings of recent months (the report's and the one before), "
    "as far as they are lost with them, at the price that What each bait cost takes. Advice holds once "
    "recent months have at most half as many such flaws as the bench aims at.",
    "Heat balance: the mold as one lump (Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, "
    "chapter 5); castings leave as warm as the mold. It goes by the times of the fills, else in steps of "
    "one fill, so that the bench's rhythm is part of the fitted loss. Book values: the mold's mass "
    "(aluminium alloy 6061: 896 J/kgK, 2700 kg/m³, UNS A96061 data sheets; 10 W/m²K to air of 20 °C, "
    "after Cengel, Heat Transfer). Fitted: logarithms of capacity and loss that make least the sum of "
    "((estimate − reading) / 5 K)² over all readings but the first of a session, from which it is "
    "estimated, and of (log(value/book) / log 2)². Lead gives 148 J/kgK liquid, 136 solid (Dinsdale 1991) "
    "and 23.0 kJ/kg on freezing (CRC Handbook); tin-bismuth 188, 167 and 45 (elements by mass; from "
    "memory). Sprues take half the castings' metal again: common practice, no source; the fit makes up "
    "for it.",
    "Warm-up fills: 95 % limits over 1000 draws of what the fit leaves open; with book values, of those, "
    "of the rhythm (each good to a factor of 2) and of the metal in sprues (to a third). Without a mold "
    "mass: the middle session's first fill at the target, less one.",
    "Fills without a reading: by the same balance, from the reading before, else from the usual first "
    "reading (else 20 °C). Estimates stand apart from readings throughout.",
    "Infrared: a gun takes what a surface radiates and mirrors for one of its own setting (Planck's law, "
    "8 to 14 µm). Emissivities: CRC; Thermal Radiation Properties Survey 1960. Suspected where a remark "
    "names it, or readings lie over three times closer to the air than book values have it.",
)
