"""NAME=VALUE words as the command line reads them, so that tables of tests stay as short as what a person types."""

import argparse

from gougeform.commands import Named, number, numbers, span


def _read(words, **how):
    parser = argparse.ArgumentParser(exit_on_error=False)
    parser.add_argument("--x", action=Named, metavar="NAME=VALUE", **how)
    try:
        return parser.parse_args([part for word in words for part in ("--x", word)]).x
    except argparse.ArgumentError as error:
        raise ValueError(str(error)) from None


def named(*words, value=number):
    """{"nose": 35.0} from "nose=35"."""
    return _read(words, value=value)


def free(*words):
    """{"cant": None, "projection": (50.0, 90.0)} from "cant", "projection=50:90"."""
    return _read(words, value=span, alone=True)


def stops(*words):
    """{"cant": (30.0, 35.0)} from "cant=30,35"."""
    return _read(words, value=numbers)
