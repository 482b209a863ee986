"""Make demo_room_answers.csv: an invented room, with the slips rooms make.

Twelve invented carers guess, choose a size of the demo chart for and measure three
invented volunteers. Run from the project's root: it prints the file.
"""

import sys

import numpy as np
import pandas as pd

VOLUNTEERS = {
    # body mass, stature, shoulder height sitting, buttock-popliteal, hip girth
    "A": (66.0, 160.0, 54.5, 45.0, 107.0),
    "B": (82.0, 176.0, 61.5, 50.5, 103.5),
    "C": (104.0, 168.0, 57.5, 47.0, 122.0),
}
MEASURES = (
    "shoulder_height_sitting_cm",
    "buttock_popliteal_length_cm",
    "hip_circumference_cm",
)
#: SDs of one reading and of a measurer's own habit, in cm; invented.
READING, HABIT = (1.0, 0.9, 0.8), (0.9, 0.5, 1.2)
CHOICES = {
    "A": (("adult 1", 0.5), ("adult 2", 0.4), ("paediatric 3", 0.1)),
    "B": (("adult 2", 0.55), ("adult 3", 0.25), ("adult 1", 0.2)),
    "C": (("adult 2", 0.35), ("adult 3", 0.35), ("bariatric 1", 0.3)),
}
COLUMNS = [
    "participant",
    "subject",
    "reading",
    "chosen_size",
    "guessed_body_mass_kg",
    "guessed_stature_cm",
    "body_mass_kg",
    "stature_cm",
    *MEASURES,
]


def invented_room(seed: int = 2026) -> pd.DataFrame:
    """Return the room's answers as a trainer would type them."""
    rng = np.random.default_rng(seed)
    rows: list[dict] = []
    for name, true in VOLUNTEERS.items():
        rows.append(
            dict(zip(COLUMNS[-5:], true, strict=True))
            | {"participant": "reference", "subject": name}
        )
    for who in range(1, 13):
        habit = rng.normal(0, HABIT)
        for name, true in VOLUNTEERS.items():
            sizes, chances = zip(*CHOICES[name], strict=True)
            row = {
                "participant": who,
                "subject": name,
                "reading": 1,
                "chosen_size": rng.choice(sizes, p=chances),
                "guessed_body_mass_kg": round(true[0] * (1 + rng.normal(-0.03, 0.13))),
                "guessed_stature_cm": round(true[1] * (1 + rng.normal(0, 0.03))),
            }
            for again in (1, 2) if who % 2 else (1,):
                taped = np.round(2 * (np.array(true[2:]) + rng.normal(habit, READING)))
                read = dict(zip(MEASURES, taped / 2, strict=True))
                own = row if again == 1 else {"participant": who, "subject": name}
                if again == 2:
                    nearer = rng.normal((-0.02, 0), (0.07, 0.02))
                    own["guessed_body_mass_kg"] = round(true[0] * (1 + nearer[0]))
                    own["guessed_stature_cm"] = round(true[1] * (1 + nearer[1]))
                rows.append(own | {"reading": again} | read)
    table = pd.DataFrame(rows, columns=COLUMNS).astype(object)
    return with_slips(table)


def with_slips(table: pd.DataFrame) -> pd.DataFrame:
    """Return the answers with the slips that rooms make."""
    first = table["reading"] == 1

    def at(who: int, name: str) -> pd.Series:
        return first & (table["participant"] == who) & (table["subject"] == name)

    hip = table.loc[at(4, "A"), "hip_circumference_cm"]
    table.loc[at(4, "A"), "hip_circumference_cm"] = (hip / 2.54).astype(float).round(1)
    table.loc[at(6, "B"), "chosen_size"] = "large"
    table.loc[at(10, "A"), "guessed_body_mass_kg"] = 145
    a, c = at(8, "A"), at(8, "C")
    kept = table.loc[a, list(MEASURES)].to_numpy()
    table.loc[a, list(MEASURES)] = table.loc[c, list(MEASURES)].to_numpy()
    table.loc[c, list(MEASURES)] = kept
    table.loc[at(12, "C"), COLUMNS[3:]] = None
    # One writes two measures the wrong way round throughout.
    mine = table["participant"] == 2
    two = ["buttock_popliteal_length_cm", "hip_circumference_cm"]
    table.loc[mine, two] = table.loc[mine, two[::-1]].to_numpy()
    return table


if __name__ == "__main__":
    invented_room().to_csv(sys.stdout, index=False)
