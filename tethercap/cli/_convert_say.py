"""What `tethercap convert` says about each picture."""

import json

from rich.console import Console

from tethercap.batch.job import ConversionJob, ConversionResult
from tethercap.cli._progress import of_file
from tethercap.errors import TethercapError


def say_done(result: ConversionResult, *, as_json: bool) -> None:
    """Print where a positive is, or all about it as JSON; warnings go to stderr."""
    talk = Console(stderr=True)
    for warning in (*result.warnings, *result.kept):
        talk.print(f"{result.raw_path.name}: {warning}", markup=False, soft_wrap=True)
    if not as_json:
        for path in (result.positive or result.proof, *result.further.values()):
            if path is not None:
                print(path)
        return
    said = {
        "file": str(result.raw_path),
        "positive": None if result.positive is None else str(result.positive),
        "proof": None if result.proof is None else str(result.proof),
        **{what: str(path) for what, path in result.further.items()},
        "seconds": round(result.seconds, 3),
        "size_px": list(result.size),
        "base_counts_rgb": [round(count, 2) for count in result.base.counts_rgb],
        "base_measured": result.base.measured,
        "corners_px": None if result.corners is None else result.corners.as_array().round(2).tolist(),
        "steps": [{"step": name, **parameters} for name, parameters in result.steps],
        "warnings": list(result.warnings),
        "kept": list(result.kept),
    }
    print(json.dumps(said))


def say_failed(job: ConversionJob, error: TethercapError, *, as_json: bool) -> None:
    """Say why a picture was not converted."""
    Console(stderr=True).print(of_file(job.raw_path, error), style="red", markup=False, soft_wrap=True)
    if as_json:
        print(json.dumps({"file": str(job.raw_path), "positive": None, "error": str(error)}))
