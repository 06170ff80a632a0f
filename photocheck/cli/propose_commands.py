"""What the program proposes as marks on a photo: ``propose``.

Heavy modules are imported inside the command, so that ``--help`` answers at once.
"""

from __future__ import annotations

import json

import click

from photocheck.cli.case_options import json_option
from photocheck.cli.say import columns, say, say_json
from photocheck.cli.streams import STREAM, source, target


@click.command()
@click.argument("photo")
@click.option("-o", "--out", metavar="PICTURE", help="Draw what is proposed, .jpg or .png.")
@json_option
def propose(photo: str, out: str | None, as_json: bool) -> None:
    """Show where the dog in PHOTO seems to be, and propose its marks.

    Proposals are for a person to look at: "check" takes none of them.  Nothing is proposed where
    the photo shows no dog standing side-on, or the places are not seen well enough.
    """
    from photocheck.photo.load import load_photo
    from photocheck.propose import propose as propose_marks
    from photocheck.propose.proposal import proposal_to_dict
    from photocheck.shown.picture_file import picture_kind, write_picture
    from photocheck.shown.plain import wrapped_to
    from photocheck.shown.proposed import draw_proposal, plain_proposal

    if out is not None and out != STREAM:
        picture_kind(out)  # a wrong name is told before the work
    with source(photo) as file:
        loaded = load_photo(file, name=photo)
    proposal = propose_marks(loaded)
    aside = out == STREAM
    if out is not None:
        with target(out, ".jpg") as path:
            write_picture(path, draw_proposal(loaded.rgb, proposal))
    if as_json:
        told = {"photo": photo, **proposal_to_dict(proposal)}
        say_json(json.dumps(told, ensure_ascii=False, indent=2), err=aside)
        return
    with wrapped_to(columns()):
        say(plain_proposal(proposal), err=aside)
