"""How each number of the section is made, with its published source."""

from benchwater.ledger.casting_masses import FEWEST_WEIGHED, ODD_FACTOR
from benchwater.ledger.stock_books import COAT_SHARE
from benchwater.ledger.weighing import FEWEST_DEGREES

from .lines import SIGNIFICANCE

METHODS = (
    "Book closing = opening + received + recovered − in good castings (coats: on coated pieces) − used − "
    "discarded; rejects, sprues and blank fills stay inside. Unaccounted = book − counted: above 0 is "
    "missing. A count holds for the end of its day or its own moment, the very first of an item for the "
    "start of its day; of two of one moment the later row stands. A balance begins with the last count up to "
    "its first day, rolled forward, else with the first one after.",
    "Standard uncertainties: a scale's step d gives d/√12 (JCGM 100:2008, F.2.2.1), a stated one wins; packs "
    "received and whole pieces are exact. Combined by the law of propagation (JCGM 100:2008, 5.1 and 5.2), "
    "errors shared by the castings of a cavity added before they are squared; expanded with k = 2 (about "
    "95 %): beyond that an item is missing or surplus, within it it closes. Where the log of the work that "
    "uses an item holds no row at all, what is missing is work not logged.",
    "Castings: as weighed, less the insert's stated mass; else the mean of this season's weighed ones of "
    f"that cavity and material, from {FEWEST_WEIGHED} on; else the nominal mass, its tolerance a rectangular "
    "half-width (JCGM 100:2008, 4.3.7). Their scatter is pooled over mold and material (JCGM 100:2008, "
    "4.2.4), allowing for few weighings (JCGM 101:2008, 6.4.9), and with fewer than "
    f"{FEWEST_DEGREES} beyond the first of each cavity no less than the tolerance. Where tolerances weigh "
    "most, k = 2 covers more than 95 %. A coat: its recipe's mass on every piece dipped, good to "
    f"±{COAT_SHARE:.0%}, or to half the range where recipes differ by more. Castings of over {ODD_FACTOR:g} "
    f"times their nominal mass, or under 1/{ODD_FACTOR:g} of it, are pointed out (project choice, no "
    "source).",
    "First-pass yield: good castings over good and rejected ones. Metal yield: the mass of the good ones "
    "over that of all poured, blank fills with them; one that is not good weighs what a good one does, and "
    "sprues go round. 95 % intervals: Wilson 1927, on the effective number of castings (Rao & Scott 1992), "
    "the fill being the cluster. Dross: discarded over castings and discarded, expanded with k = 2. Sprues "
    "are melted with every fill and weighed in none, so that of all metal melted a smaller share was lost; "
    "that they take half the castings' metal again is common practice, no source.",
)
CHAIN_METHOD = (
    "Between counts (season only): each count plus the rows up to the next must give the next. Weighted "
    "least squares and global chi-square test: Narasimhan & Jordache 2000; the likeliest error: "
    "measurement test of Mah & Tamhane 1982 with serial elimination, named only at "
    f"p < {SIGNIFICANCE:g} and if the rest then agrees. A decimal place, or a unit written for another, is "
    "named where it brings the amount within twice its uncertainty of what the rest implies (a convention, "
    "no source). Nothing is taken as surer than one step of the scale, or one piece, and stretches as "
    "independent of each other."
)
