"""A report made by hand, for the tests of everything that only shows or stores one."""

from __future__ import annotations

import math

from photocheck import __version__
from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Reading, Reference
from photocheck.report.model import DoubtSource, Explanation, PhotoResult, Report, SpanResult

MARKS = {
    "breastbone": (820.0, 1180.0),
    "shoulder_top": (1130.0, 760.0),
    "last_rib": (1750.0, 1230.0),
    "tail_base": (2500.0, 820.0),
    "back_top": (1250.0, 780.0),
    "chest_bottom": (1270.0, 1480.0),
    "front_foot": (1180.0, 2180.0),
    "rear_foot": (2480.0, 2190.0),
}
CORNERS = ((1500.0, 2250.0), (1790.0, 2262.0), (1788.0, 2440.0), (1497.0, 2432.0))


def made_case(path: str = "side.jpg", unit: str = "in", photos: int = 1) -> Case:
    entry = PhotoEntry(
        path=path,
        reference=Reference("id_card", "near_feet", corners=CORNERS, offset_mm=120.0),
        markings=(
            Marking(
                MARKS,
                {"front_length": ((1010.0, 1420.0), (1330.0, 1490.0))},
                "owner",
            ),
        ),
        focal_35mm=26.0,
    )
    readings = {
        "half_neck": Reading(368.3, "14 1/2", "in"),
        "front_length": Reading(520.7, "20 1/2 in", "in"),
        "rear_length": Reading(457.2, "18", "in"),
        "full_length": Reading(850.9, "33 1/2", "in"),
    }
    return Case(
        photos=(entry,) * photos,
        readings=readings,
        unit=unit,
        dog=DogFacts("Juno", "mix", 28.0, 700.0, "medium", 15.0, "slim", 30.0),
        name="Order 1042",
    )


def made_report(
    path: str = "side.jpg", verdict: str = "measure_again", unit: str = "in", photos: int = 1
) -> Report:
    case = made_case(path, unit, photos)

    def span(name: str, photo: float, reading: float | None, word: str, text: str) -> SpanResult:
        spread = 0.045
        return SpanResult(
            span=name,
            straight_mm=photo / 1.2,
            photo_mm=photo,
            low_mm=photo * math.exp(-1.96 * spread),
            high_mm=photo * math.exp(1.96 * spread),
            log_spread=spread,
            reading_mm=reading,
            difference=None if reading is None else math.log(reading / photo),
            score=None if reading is None else math.log(reading / photo) / 0.06,
            catches=0.12 if name != "rear_length" else math.inf,
            verdict=word,
            sentence=text,
        )

    spans = (
        span("half_neck", 361.0, 368.3, "agrees", "The half neck agrees with the photo."),
        span("front_length", 528.0, 520.7, "agrees", "The front length agrees with the photo."),
        span(
            "rear_length",
            338.0,
            457.2,
            verdict,
            "The rear length reads 18 in, the photo shows 13 1/4 in.",
        ),
        span("full_length", 866.0, 850.9, "agrees", "The full length agrees with the photo."),
    )
    covariance = tuple(tuple(0.002 if i == j else 0.001 for j in range(4)) for i in range(4))
    result = PhotoResult(
        path,
        "ab" * 32,
        (4032, 3024),
        "id_card",
        "marked",
        CORNERS,
        2680.0,
        0.03,
        3.1,
        -2.4,
        0.6,
        120.0,
        45.0,
        1.82,
        26.0,
        "exif 35 mm",
        ("The photo is blurred at the tail base.",),
    )
    return Report(
        verdict,
        "Measure the rear length again: the tape says 18 in, the photo shows about 13 1/4 in.",
        spans,
        covariance,
        ("Front and rear make 38 1/2 in, but the full length reads 33 1/2 in.",),
        (result,) * photos,
        (),
        (
            DoubtSource(
                "offset",
                "where the reference stood",
                {s.span: 0.52 for s in spans},
                "Hold the reference against the dog's near side.",
            ),
            DoubtSource("marks", "placing the marks", {s.span: 0.28 for s in spans}, ""),
            DoubtSource("shape", "shape of the body", {s.span: 0.2 for s in spans}, ""),
        ),
        "Measure the rear length again, from the last rib to the tail base.",
        {s.span: 0.8 for s in spans},
        (
            Explanation(
                "swapped_digits",
                "two digits of the rear length changed places",
                0.83,
                "Two digits of the rear length may have changed places while typing.",
                "Please measure the rear length again.",
                (("rear_length", "13 1/4 in", 336.55),),
            ),
            Explanation("unnamed", "no named explanation fits", 0.1, "They differ.", "Look again."),
        ),
        ("A harness that is too long at the rear can rub.",),
        0.02,
        __version__,
        case,
    )
