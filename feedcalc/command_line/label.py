"""The verbs that print labels and the sheet for the wall.

`engine.calculate_print` lays them out; here only files are written.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, TextIO

import click

from feedcalc.command_line.environment import with_usual_language
from feedcalc.command_line.files import read_stream, replace_file
from feedcalc.command_line.pdf import NoPdf, pdf_of
from feedcalc.command_line.refusals import refuse
from feedcalc.command_line.working import showing_work
from feedcalc.engine import calculate_print, demo_request
from feedcalc.sheets.paper.label import BATCHES_FORMAT, BATCHES_VERSION
from feedcalc.sheets.paper.layout import sizes
from feedcalc.sheets.paper.printing import Printed
from feedcalc.sheets.paper.wall import wall_sizes
from feedcalc.words.json_text import json_object
from feedcalc.words.languages import LANGUAGES, language_asked
from feedcalc.words.messages import said_in

ENDINGS = (".pdf", ".svg", ".html", ".txt")


@click.command("label")
@click.argument("sources", type=click.File(encoding="utf-8-sig"), nargs=-1, metavar="[FILE]...")
@click.option("--for", "of", help="bottle (of liquor, where left out) or can (of diluted feed).")
@click.option("--size", help=f"One of {', '.join(sizes())}; A6 where left out.")
@click.option("--sheet", "grid", help="A sheet of many: columns by rows, such as '2x4'.")
@click.option("--paper", help="Paper of that sheet: A4 (where left out), Letter, A3 ... or '210 mm x 297 mm'.")
@click.option("--margin", help="Margins of that sheet: '10 mm', or top and sides '15 mm; 7 mm', or all four.")
@click.option("--gap", help="Gaps between its labels: '3 mm', or between columns and rows '3 mm; 0 mm'.")
@click.option("--start", help="Cell of the first label, counted along the rows: 5 where four are used up.")
@click.option("--copies", help="How many of each label.")
@click.option("--cut-marks", is_flag=True, help="Lines in the margins to cut along.")
@click.option("--name", help="What you call this batch; otherwise its name in the file.")
@click.option("--address", help="Where your page is (https://): a code to scan leads there.")
@click.option("--language", help=f"Of the words: {', '.join(LANGUAGES)}; that of the batch where left out.")
@click.option("--out", type=click.Path(path_type=Path), help="A name ending in .pdf, .svg, .html or .txt.")
def label_verb(sources: tuple[TextIO, ...], out: Path | None, **options: Any) -> None:
    """Labels for the bottles of the batches in FILE ('-' for standard input).

    A FILE is a request as JSON, or the file of batches that the page saves: one label for each. Without FILE it is the
    demo's, without --out it is plain text. A size that can't hold the cautions is refused.

    \b
    Examples:
      feedcalc label batch.json --size A6 --name "Oak, May" --out label.pdf
      feedcalc label batches.json --sheet 2x3 --margin "10 mm" --start 3 --out sheet.pdf
    """
    options_given = {name: value for name, value in options.items() if value not in (None, False)}
    _print(sources, "label", options_given, out)


@click.command("wall")
@click.argument("sources", type=click.File(encoding="utf-8-sig"), nargs=-1, metavar="[FILE]...")
@click.option("--size", help=f"One of {', '.join(wall_sizes())}; A4 where left out.")
@click.option("--name", help="What you call this batch; otherwise its name in the file.")
@click.option("--language", help=f"Of the words: {', '.join(LANGUAGES)}; that of the batch where left out.")
@click.option("--out", type=click.Path(path_type=Path), help="A name ending in .pdf, .svg, .html or .txt.")
def wall_verb(sources: tuple[TextIO, ...], out: Path | None, **options: Any) -> None:
    """The batch sheet for the wall: one page to tick off, in letters that are read at arm's length.

    A FILE is as for labels; each batch makes a page. Without FILE it is the demo's, without --out it is plain text.

    \b
    Example:
      feedcalc wall batch.json --size A4 --out wall.pdf
    """
    _print(sources, "wall", {name: value for name, value in options.items() if value}, out)


def _print(sources: tuple[TextIO, ...], ask: str, options_given: dict[str, Any], out: Path | None) -> None:
    """Write the labels or wall sheets of these files to ``out``, or their text to standard output."""
    out = None if str(out) == "-" else out
    ending = out.suffix.lower() if out else ".txt"
    if out and ending not in ENDINGS:
        raise click.UsageError(f"--out {out.name}: the name must end in .pdf, .svg, .html or .txt.")
    request = with_usual_language(_request(sources, ask, options_given))
    speak = language_asked(request).speak
    with showing_work(speak(said_in("progress", "Laying out …"))):
        errors, print_ = calculate_print(request)
    if print_ is None:
        named = [{**error, "field": _option_named(error["field"], options_given)} for error in errors]
        refuse(named, speak)
    if out is None:
        click.echo(print_.text, nl=False)
        return
    with showing_work(speak(said_in("progress", "Writing {file} …", file=out.name))):
        paths = _write(print_, out, ending)
    for path in paths:
        click.echo(path)
    if ending != ".txt":
        for sentence in print_.told:
            click.echo(sentence, err=True)


def _option_named(field: str, options: dict[str, Any]) -> str:
    """Return the option that a field of a print was typed with; the field for what a file says."""
    if field == "language" and field in options:
        return "--language"
    group, _, name = field.partition(".")
    if group not in ("label", "wall") or name not in options:
        return field
    return {"grid": "--sheet", "of": "--for"}.get(name, f"--{name.replace('_', '-')}")


def _write(print_: Printed, out: Path, ending: str) -> list[Path]:
    """Write the print and return the paths of its files: SVG has one for each page, the others have one."""
    try:
        if ending == ".svg":
            many = len(print_.pages) > 1
            paths = [
                out.with_name(f"{out.stem}-{place}{out.suffix}") if many else out
                for place in range(1, len(print_.pages) + 1)
            ]
            for path, (_, _, svg) in zip(paths, print_.pages, strict=True):
                replace_file(path, svg.encode())
            return paths
        if ending == ".pdf":
            replace_file(out, pdf_of(print_.html))
        else:
            replace_file(out, (print_.html if ending == ".html" else print_.text).encode())
    except NoPdf as reason:
        raise click.ClickException(str(reason)) from None
    except OSError as reason:
        raise click.ClickException(f"{out} can't be written: {reason.strerror}.") from None
    return [out]


def _request(sources: tuple[TextIO, ...], ask: str, options: dict[str, Any]) -> str:
    """Return the print request that the files make; a file that holds no JSON object is the engine's to refuse."""
    language = {"language": tag} if (tag := options.get("language")) else {}
    options = {name: value for name, value in options.items() if name != "language"}
    # Without files it is the demo's, with numbers as the language writes them.
    texts = [read_stream(source) for source in sources] or [json.dumps({**json.loads(demo_request()), "locale": None})]
    documents: list[dict[str, Any]] = []
    for text in texts:
        document = json_object(text)
        if document is None:
            return text
        documents.append(document)
    if len(documents) == 1 and documents[0].get("format") != BATCHES_FORMAT:
        return json.dumps({**documents[0], **language, "ask": ask, ask: options})
    rows: list[Any] = []
    for document in documents:
        if document.get("format") != BATCHES_FORMAT:
            rows.append({"name": "", "request": document})
        elif document.get("version") != BATCHES_VERSION or not isinstance(document.get("batches"), list):
            return json.dumps({"schema": 1, **language, "ask": ask, ask: options, "batches": document})
        else:
            rows += document["batches"]
    envelope = {"format": BATCHES_FORMAT, "version": BATCHES_VERSION, "batches": rows}
    return json.dumps({"schema": 1, **language, "ask": ask, ask: options, "batches": envelope})
