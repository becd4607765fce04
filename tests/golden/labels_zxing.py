#!/usr/bin/env python3
"""Reads the symbols of labels with ZXing's C++ port and keeps those that say what they should.

    TALLOW_SYMBOLS=/tmp/symbols.csv cargo test --workspace --lib symbols_are_those
    python3 -m venv /tmp/reader && /tmp/reader/bin/pip install zxing-cpp==3.* numpy
    /tmp/reader/bin/python tests/golden/labels_zxing.py /tmp/symbols.csv > tests/golden/labels_zxing.csv

Each line holds the symbol's sort, its text, and its modules row by row, 1 for dark. The modules are drawn as a picture
of eight points a module with the quiet edge of a label and read from that; a symbol that reads as anything else ends
the run.
"""

import sys

import numpy
import zxingcpp

POINTS = 8
QUIET = {"qr": 4, "matrix": 2}
FORMATS = {"qr": zxingcpp.BarcodeFormat.QRCode, "matrix": zxingcpp.BarcodeFormat.DataMatrix}


def picture(rows, quiet):
    modules = numpy.array([[0 if module == "1" else 255 for module in row] for row in rows], dtype=numpy.uint8)
    modules = numpy.pad(modules, quiet, constant_values=255)
    return numpy.kron(modules, numpy.ones((POINTS, POINTS), dtype=numpy.uint8))


def main():
    print("symbol,text,modules")
    for line in open(sys.argv[1], encoding="utf-8"):
        symbol, text, modules = line.rstrip("\n").split(",")
        image = picture(modules.split("/"), QUIET[symbol])
        read = zxingcpp.read_barcodes(image, formats=FORMATS[symbol])
        found = [barcode.text for barcode in read]
        if found != [text]:
            sys.exit(f"{symbol} of {text} reads as {found}")
        print(f"{symbol},{text},{modules}")


if __name__ == "__main__":
    main()
