"""How each number of the section is made, with its published source."""

from .bait_contrasts import LEAST_ENDS, LEAST_HOURS

METHODS = (
    "Time is hours in use: those of a tagged bait add up over its trips, before the span too, and it is "
    "followed from the hours it had when the span began (late entry). A tag that goes on after its bait "
    "ended is a new bait. Lost and worn have ended; kept lasted at least so long.",
    "An untagged row is a stretch: as many baits as its count, each followed from new, as if a kept one were "
    "as good as new on its next trip: tags show it where that is not so.",
    "Share still in use: Kaplan & Meier 1958 (J. Amer. Statist. Assoc. 53:457-481), variance Greenwood 1926, "
    "log(-log) limits Kalbfleisch & Prentice 1980. Median: Brookmeyer & Crowley 1982 (Biometrics 38:29-41). "
    "Mean: area under the curve to the stated hours. A leader group's curve holds the trips fished that way.",
    "Causes compete, the first to strike leaving nothing to the others: cumulative incidence, Aalen & "
    "Johansen 1978 (Scand. J. Statist. 5:141-150). With the share still in use they make up the whole.",
    "Rates per bait-hour: exact Poisson limits, Garwood 1936 (Biometrika 28:437-442). Ratios: exact, given "
    "the total, Przyborowski & Wilenski 1940 (Biometrika 31:313-323); among like trips Martin & Austin 1996 "
    "(Epidemiology 7:29-33). Losses are taken as independent: where one spot takes several baits of a trip, "
    "the limits are too narrow.",
    "So many times as long: the ratio of rates turned round, exactly that of mean lives where the rate does "
    "not change with hours in use (constant hazards).",
    "A comparison is confounded where, within another factor, under a quarter of the information on the "
    "ratio is left (Mantel and Haenszel's weights), or the ratio is under half as large on the log scale "
    "(Rothman & Greenland, Modern Epidemiology; both bounds are this report's own). So held against each "
    "other: leader, build with what it bears, water, habitat and angler.",
    "Log-rank test: Mantel 1966 (Cancer Chemotherapy Reports 50:163-170). p-values adjusted over all that is "
    "compared, ratios and log-rank tests each among themselves: Holm 1979 (Scand. J. Statist. 6:65-70). Two "
    "names for the same baits are one comparison.",
    f"Groups are compared from {LEAST_HOURS:g} bait-hours each and {LEAST_ENDS} ends together. Advice needs "
    "an adjusted p below 0.05, limits among like trips that leave out no difference, and no confounding.",
)
