"""Derive model_checks.csv, what the body model was checked on, and model_bias.csv.

Run: python -m data_sources.derive_model_checks FOLDER

FOLDER is the folder of survey files; its sibling ``references`` holds
uk_1990_lms.csv and netherlands_1997_lms.csv. Takes some minutes.
"""

import sys
from pathlib import Path

import pandas as pd

from data_sources.checks_adults import adult_rows
from data_sources.checks_children import child_rows
from data_sources.checks_outside import other_samples, published_bodies, relative_bias


def main(folder: Path) -> pd.DataFrame:
    """Run every check and write the table."""
    table = pd.DataFrame(
        [
            *adult_rows(folder),
            *other_samples(folder),
            *published_bodies(folder),
            *child_rows(folder),
        ]
    )
    out = Path(__file__).with_name("model_checks.csv")
    table.to_csv(out, index=False, lineterminator="\n")
    bias = relative_bias(folder)
    bias.to_csv(out.with_name("model_bias.csv"), index=False, lineterminator="\n")
    return table


if __name__ == "__main__":
    main(Path(sys.argv[1]))
