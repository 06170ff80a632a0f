"""Every text of the app's own, in one place.

What photocheck itself says (verdicts, reasons, cautions) is worded in `photocheck`.
"""

from __future__ import annotations


class English:
    """The texts in English.

    Another language is a class derived from this one: what it does not translate yet
    stays English.
    """

    title = "photocheck"
    intro = (
        "Holds the tape readings of a made-to-measure dog harness against a side photo, "
        "before any cloth is cut."
    )
    check = "Check"

    sample_tab = "Try a sample"
    samples_invented = (
        "These dogs, owners and orders are invented; the photos are drawn by a computer."
    )
    no_samples = "The sample cases are not here: the folder {folder} is missing or empty."
    sample = "Sample case"

    own_tab = "Your own order"
    own_kept = "No copy of your photos is kept; they are gone when you close the page."
    case_file = "Case file (JSON)"
    photos = "The photos it names"
    case_file_first = "Add the case file and its photos, then press Check."
    unused = "Not named in the case file, so not used: {names}."

    reading_files = "Reading the files"
    looked_at = "Photo {number} of {total} looked at"
    drawing = "Drawing on the photos"
    done = "Checked"
    stopped = "Not checked"
    failed = (
        "This should not have happened. What you chose is still here; please report it, with "
        "what the page's log says."
    )

    length = "length"
    tape = "tape"
    photo = "photo"
    interval = "95 % interval"
    interval_of = "{low} to {high}"
    verdict = "verdict"
    not_given = "not given"

    why = "Why"
    next_step = "Next step"
    among_themselves = "The readings among themselves"
    doubt = "Where the doubt comes from"
    doubt_source = "source"
    doubt_help = "How much each source brings to the doubt (variance) of each length."
    share = "{:.0%}"
    mind = "Mind"
    download = "Download the report (JSON)"
    download_name = "photocheck-report.json"
