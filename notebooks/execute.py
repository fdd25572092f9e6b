"""Execute the notebooks and hold them against what is committed.

    /usr/bin/python3 notebooks/execute.py            fails on an exception or on any text that differs
    /usr/bin/python3 notebooks/execute.py --update   writes what came out into the notebooks

A name or two (repeatable, units) choose notebooks; all are executed otherwise. The sealbound that is
executed is $SEALBOUND, or one built for the occasion. Needed, from Debian: jupyter-nbconvert
python3-ipykernel python3-matplotlib python3-pandas.

Pictures are compared by being there: their bytes depend on the version of the drawing library.
"""

import base64
import difflib
import os
import re
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
PICTURE = "image/png"


def plain_png(encoded):
    """A PNG without the chunks that carry text or time."""
    raw = base64.b64decode(encoded)
    out, at = [raw[:8]], 8
    while at < len(raw):
        (size,) = struct.unpack(">I", raw[at:at + 4])
        if raw[at + 4:at + 8] not in (b"tEXt", b"iTXt", b"zTXt", b"tIME"):
            out.append(raw[at:at + 12 + size])
        at += 12 + size
    return base64.b64encode(b"".join(out)).decode() + "\n"


def joined(outputs):
    """Outputs with what was printed in one go made one: a slow machine sends it in pieces."""
    out = []
    for o in outputs:
        if out and o["output_type"] == out[-1]["output_type"] == "stream" and o["name"] == out[-1]["name"]:
            out[-1]["text"] += o["text"]
        else:
            out.append(o)
    return out


def tidy(nb):
    """Leave in a notebook only what would come out alike tomorrow and elsewhere."""
    nb.metadata = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
                   "language_info": {"name": "python"}}
    for cell in nb.cells:
        cell.metadata = {}
        if "outputs" in cell:
            cell["outputs"] = joined(cell["outputs"])
        for output in cell.get("outputs", []):
            if "metadata" in output:
                output["metadata"] = {}
            if PICTURE in output.get("data", {}):
                output["data"][PICTURE] = plain_png(output["data"][PICTURE])


def text(nb):
    """A notebook's outputs as lines, to be compared and read in a difference."""
    lines = []
    for number, cell in enumerate(nb.cells):
        for output in cell.get("outputs", []):
            kind = output["output_type"]
            if kind == "stream":
                parts = {output["name"]: output["text"]}
            elif kind == "error":
                parts = {"error": output["evalue"]}
            else:
                parts = dict(output["data"])
                if PICTURE in parts:  # the text beside a picture is its size in pixels
                    parts = {PICTURE: "a picture"}
            for name in sorted(parts):
                lines.append(f"-- cell {number + 1}, {name}")
                lines += "".join(parts[name]).splitlines()
    return lines


def faults(nb):
    """What must not be in a published notebook."""
    found = []
    for number, cell in enumerate(nb.cells):
        where = f"cell {number + 1}"
        for output in cell.get("outputs", []):
            if output["output_type"] == "error":
                printed = "".join(o["text"] for o in cell["outputs"] if o["output_type"] == "stream")
                trace = re.sub(r"\x1b\[[0-9;]*m", "", "\n".join(output["traceback"]))
                found.append(f"{where}: an exception\n{printed}{trace}")
            if output.get("name") == "stderr":
                found.append(f"{where}: standard error, {output['text']}")
    body = "\n".join([cell["source"] for cell in nb.cells] + text(nb))
    found += [f"a path of one machine: {path}" for path in re.findall(r"(?:/tmp|/home|/root|/var)/\S+", body)]
    question = nb.cells[0]["source"].splitlines()[0]
    if not question.rstrip().endswith("?"):
        found.append(f"the first line asks nothing: {question}")
    return found


def main(args):
    import nbformat
    from nbclient import NotebookClient

    update = "--update" in args
    names = [a.removesuffix(".ipynb") for a in args if not a.startswith("-")]
    files = [HERE / f"{Path(n).name}.ipynb" for n in names] or sorted(HERE.glob("*.ipynb"))
    if not files:
        sys.exit("no notebooks")
    bad = 0
    with tempfile.TemporaryDirectory() as scratch:
        # Nothing of whoever runs this reaches the results: no profile, no style, no locale.
        os.environ.update({"IPYTHONDIR": scratch + "/ipython", "MPLCONFIGDIR": scratch + "/matplotlib",
                           "JUPYTER_CONFIG_DIR": scratch + "/jupyter", "JUPYTER_RUNTIME_DIR": scratch + "/runtime",
                           "JUPYTER_DATA_DIR": scratch + "/data",
                           "PYTHONDONTWRITEBYTECODE": "1", "PYDEVD_DISABLE_FILE_VALIDATION": "1", "PYTHONHASHSEED": "0", "LC_ALL": "C.UTF-8", "TZ": "UTC"})
        for name in ("MPLBACKEND", "JUPYTER_PATH", "PYTHONPATH", "PYTHONSTARTUP"):
            os.environ.pop(name, None)
        # The list of fonts is made on first use, with a message that would stand in a notebook.
        subprocess.run([sys.executable, "-c", "import matplotlib.font_manager"], check=True, stderr=subprocess.DEVNULL)
        if not os.environ.get("SEALBOUND"):
            os.environ["SEALBOUND"] = scratch + "/sealbound"
            subprocess.run(["go", "build", "-o", os.environ["SEALBOUND"], "./cmd/sealbound"], cwd=HERE.parent, check=True)
        else:
            os.environ["SEALBOUND"] = str(Path(os.environ["SEALBOUND"]).resolve())
        for file in files:
            nb = nbformat.read(file, as_version=4)
            tidy(nb)
            before = text(nb)
            client = NotebookClient(nb, timeout=900, kernel_name="python3", allow_errors=True, record_timing=False,
                                    resources={"metadata": {"path": str(HERE)}})
            client.execute()
            tidy(nb)
            found = faults(nb)
            after = text(nb)
            for fault in found:
                print(f"{file.name}: {fault}")
            if update and not found:
                nbformat.write(nb, file)
                print(f"{file.name}: written")
            elif not update and before != after:
                print("\n".join(difflib.unified_diff(before, after, f"{file.name} as committed", f"{file.name} executed", lineterm="")))
                found.append("differs")
            bad += bool(found)
            if not found and not update:
                print(f"{file.name}: as committed")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main(sys.argv[1:])
