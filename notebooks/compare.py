#!/usr/bin/python3
"""Holds a notebook's outputs made anew to those that are kept.

    compare.py KEPT ANEW     says what differs; status 1 if anything does
    compare.py --clean FILE  takes out of a notebook what differs without meaning

Text is compared byte for byte, tables included. Left out of that: what a run says of
itself (execution counts, times of cells, versions of kernels), lines of output that
begin with "Made with:" or "Took:", and the bytes of images, of which only kind and
number count: another version of a font draws another image of the same figures.
"""

import difflib
import json
import re
import sys

SAYS_OF_ITSELF = re.compile(r"(?m)^(Made with:|Took:).*$")


def joined(text):
    return text if isinstance(text, str) else "".join(text)


def outputs(cell):
    """The outputs of a cell as (kind, text) pairs; a stream that came in pieces is one."""
    out = []
    for o in cell.get("outputs", []):
        if o["output_type"] == "stream":
            kind, text = "stream " + o["name"], joined(o["text"])
            if out and out[-1][0] == kind:
                text = out.pop()[1] + text
            out.append((kind, text))
        elif o["output_type"] == "error":
            out.append(("error " + o["ename"], o["evalue"]))
        else:
            for mime, data in sorted(o["data"].items()):
                kind = o["output_type"] + " " + mime
                if mime.startswith("image/"):
                    out.append((kind, ""))
                else:
                    out.append((kind, joined(data) if isinstance(data, (str, list)) else json.dumps(data, sort_keys=True)))
    return [(kind, SAYS_OF_ITSELF.sub(r"\1", text)) for kind, text in out]


def differences(kept, anew):
    """What differs between two notebooks, in words; nothing where they are the same."""
    found = []
    if len(kept["cells"]) != len(anew["cells"]):
        return ["%d cells are kept, %d were made" % (len(kept["cells"]), len(anew["cells"]))]
    for n, (old, new) in enumerate(zip(kept["cells"], anew["cells"]), 1):
        where = "cell %d" % n
        if old["cell_type"] != new["cell_type"] or joined(old["source"]) != joined(new["source"]):
            found.append(where + ": its source is another")
            continue
        was, now = outputs(old), outputs(new)
        if [kind for kind, _ in was] != [kind for kind, _ in now]:
            found.append("%s: kept are %s, made were %s" % (where, [k for k, _ in was], [k for k, _ in now]))
            continue
        for (kind, text), (_, other) in zip(was, now):
            if text != other:
                lines = difflib.unified_diff(text.splitlines(), other.splitlines(), "kept", "made anew", lineterm="", n=0)
                found.append("%s, %s:\n    %s" % (where, kind, "\n    ".join(lines) or "only the line ends differ"))
    return found


def clean(notebook):
    """The notebook without what another run changes and no reader needs."""
    for cell in notebook["cells"]:
        cell["metadata"] = {}
        if cell["cell_type"] == "code":
            cell["execution_count"] = None
            for o in cell["outputs"]:
                if "execution_count" in o:
                    o["execution_count"] = None
                if "metadata" in o:
                    o["metadata"] = {}
    notebook["metadata"] = {
        "kernelspec": {"display_name": "R", "language": "R", "name": "ir"},
        "language_info": {"name": "R", "file_extension": ".r", "mimetype": "text/x-r-source"},
    }
    return notebook


def read(path):
    with open(path, encoding="utf-8") as f:
        return json.load(f)


def main(args):
    if len(args) == 2 and args[0] == "--clean":
        text = json.dumps(clean(read(args[1])), ensure_ascii=False, indent=1)
        with open(args[1], "w", encoding="utf-8") as f:
            f.write(text + "\n")
        return 0
    if len(args) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    found = differences(read(args[0]), read(args[1]))
    for what in found:
        print(what)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
