"""How each number of the section is made, with its published source."""

from benchwater.books.casting_masses import FEWEST_WEIGHED
from benchwater.books.stock_books import COAT_SHARE
from benchwater.mathematics.weighing import FEWEST_DEGREES

from .lines import SIGNIFICANCE

METHODS = (
    "Boundary: the shop. Book closing = opening + received + recovered − in good castings (coats: on coated "
    "pieces) − used − discarded; rejects, sprues and blank fills stay inside. Unaccounted = book − counted "
    "closing: above 0 is missing. A count stands for the end of its day or for its own moment, the very "
    "first of an item for the start of its day; of two counts of one moment the later row stands. A balance "
    "begins with the last count up to its first day, rolled forward, else with the first count after.",
    "Standard uncertainties: a scale's step d gives d/√12 (JCGM 100:2008, F.2.2.1), a stated one wins; packs "
    "received and whole pieces count as exact. Combined by the law of propagation (JCGM 100:2008, 5.1 and "
    "5.2), errors that the castings of one cavity share added before they are squared; expanded with k = 2 "
    "(about 95 %). Beyond that an item is missing or surplus, within it the item closes. Where the log of "
    "the work that uses it holds no row at all, what is missing is work not logged.",
    "Castings: as weighed, less the insert where its item states a mass; else the mean of this season's "
    f"weighed castings of that cavity and material, from {FEWEST_WEIGHED} on; else the nominal mass, its "
    "tolerance a rectangular half-width (JCGM 100:2008, 4.3.7). Castings of one mold and material are taken "
    "to scatter alike for their mass (pooled: JCGM 100:2008, 4.2.4), allowing for how few weighings show it "
    f"(JCGM 101:2008, 6.4.9), and with fewer than {FEWEST_DEGREES} beyond the first of each cavity by no "
    "less than the tolerance. Where tolerances weigh most, k = 2 covers more than 95 %: twice the standard "
    "uncertainty of a rectangle is more than its half-width. A coat is its recipe's mass on every piece "
    f"dipped, taken as good to ±{COAT_SHARE:.0%}, or to half the range where recipes differ by more.",
    "First-pass yield: good castings over good and rejected ones. Metal yield: the mass of the good ones "
    "over that of all castings poured, blank fills with them; one that is not good is taken to weigh what a "
    "good one does, and sprues go round. 95 % intervals of Wilson 1927 on the effective number of castings "
    "(Rao & Scott 1992), the fill being the cluster. Dross: what was discarded over castings and discarded, "
    "expanded with k = 2. The metal in sprues is melted with every fill and weighed in none, so that of all "
    "metal melted a smaller share was lost; that they take half the castings' metal again is common "
    "practice, no source.",
)
CHAIN_METHOD = (
    "Stretches between counts (told for the season only): each count plus the rows up to the next must give "
    "the next. Weighted least squares and the global chi-square test of Narasimhan & Jordache 2000; the "
    "likeliest error by the measurement test of Mah & Tamhane 1982 with serial elimination, named only at "
    f"p < {SIGNIFICANCE:g} and if the rest then agrees. A decimal place, or a unit written for another, is "
    "named where it brings the amount within twice its uncertainty of what the rest implies (a convention, "
    "no source). No count and no stretch is taken as surer than one step of the scale, one piece for counted "
    "items; stretches are taken as independent of each other."
)
