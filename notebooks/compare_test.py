#!/usr/bin/python3
"""The comparison can fail: each thing that a reader sees is changed once and must be
found, and each thing that may differ is changed once and must not be."""

import copy
import unittest

import compare


def notebook():
    return {
        "metadata": {"language_info": {"version": "4.2.2"}},
        "cells": [
            {"cell_type": "markdown", "metadata": {}, "source": ["A week reads 165."]},
            {
                "cell_type": "code",
                "metadata": {"execution": {"iopub.execute_input": "2026-01-10T12:00:00Z"}},
                "execution_count": 3,
                "source": ["listing(x)"],
                "outputs": [
                    {"output_type": "stream", "name": "stdout", "text": ["level share\n", "  200  21.5\n"]},
                    {"output_type": "stream", "name": "stdout", "text": "Made with: R 4.2.2\nTook: 3 s\n"},
                    {"output_type": "display_data", "metadata": {}, "data": {"image/png": "AAAA", "text/plain": "plot"}},
                ],
            },
        ],
    }


def stream(nb, text, i=0):
    nb["cells"][1]["outputs"][i]["text"] = text


class Compare(unittest.TestCase):
    def check(self, change, same):
        anew = copy.deepcopy(notebook())
        change(anew)
        found = compare.differences(notebook(), anew)
        self.assertEqual(not found, same, found)

    def test_same(self):
        self.check(lambda nb: None, True)

    def test_found(self):
        output = lambda nb: nb["cells"][1]["outputs"]
        for name, change in {
            "a digit": lambda nb: stream(nb, ["level share\n", "  200  21.6\n"]),
            "a space": lambda nb: stream(nb, ["level share\n", "  200 21.5\n"]),
            "a line end": lambda nb: stream(nb, ["level share\n", "  200  21.5"]),
            "a line less": lambda nb: stream(nb, ["level share\n"]),
            "a word in a line of versions that is none": lambda nb: stream(nb, "Made by: R 4.2.2\nTook: 3 s\n", 1),
            "another text beside a figure": lambda nb: output(nb)[2]["data"].update({"text/plain": "another"}),
            "a figure less": lambda nb: output(nb).pop(),
            "a figure more": lambda nb: output(nb).append(copy.deepcopy(output(nb)[2])),
            "a figure of another kind": lambda nb: output(nb)[2].update(data={"image/svg+xml": "AAAA", "text/plain": "plot"}),
            "standard error": lambda nb: output(nb)[0].update(name="stderr"),
            "an error": lambda nb: output(nb).append({"output_type": "error", "ename": "E", "evalue": "no", "traceback": []}),
            "another source": lambda nb: nb["cells"][1].update(source=["listing(y)"]),
            "other prose": lambda nb: nb["cells"][0].update(source=["A week reads 166."]),
            "a cell less": lambda nb: nb["cells"].pop(),
        }.items():
            with self.subTest(name):
                self.check(change, False)

    def test_may_differ(self):
        output = lambda nb: nb["cells"][1]["outputs"]
        for name, change in {
            "versions and times said": lambda nb: stream(nb, "Made with: R 9.9\nTook: 4 s\n", 1),
            "times of cells": lambda nb: nb["cells"][1].update(metadata={}),
            "execution counts": lambda nb: nb["cells"][1].update(execution_count=None),
            "the kernel's version": lambda nb: nb.update(metadata={}),
            "an image's bytes": lambda nb: output(nb)[2]["data"].update({"image/png": "BBBB"}),
            "a stream in other pieces": lambda nb: stream(nb, "level share\n  200  21.5\n"),
        }.items():
            with self.subTest(name):
                self.check(change, True)

    def test_clean(self):
        cleaned = compare.clean(notebook())
        self.assertEqual(compare.differences(notebook(), cleaned), [])
        text = str(cleaned)
        self.assertNotIn("2026-01-10T12", text)
        self.assertNotIn("'4.2.2'", text)
        again = notebook()
        again["cells"][1]["execution_count"] = 8
        again["cells"][1]["metadata"] = {}
        self.assertEqual(compare.clean(again), cleaned)


if __name__ == "__main__":
    unittest.main()
