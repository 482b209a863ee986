"""Derive how far what adults say of their body mass and stature is from measured.

Prints the rows of guessing_figures.csv with the study NHANES 2017-18, and the
mean and SD that sizing/lesson/ways.py states for stature. Unweighted: the
embedded copy of the survey has no weights, and the figures describe answers, not
a population.
"""

from sizing.surveys import read_embedded

SOURCE = (
    "derived from NHANES 2017-18 (public domain) by derive_reported_errors.py; "
    "adults 18 and over, what they said against what was measured"
)


def main() -> None:
    frame = read_embedded().frame
    adults = frame[frame["age_years"] >= 18]
    mass = (adults["reported_mass_kg"] / adults["body_mass_kg"] - 1).dropna()
    stature = (adults["reported_stature_cm"] - adults["stature_cm"]).dropna()
    n = len(mass)
    rows = [
        ("within", "0.05", (mass.abs() <= 0.05).mean()),
        ("within", "0.10", (mass.abs() <= 0.10).mean()),
        ("beyond", "0.20", (mass.abs() > 0.20).mean()),
        ("mean_absolute", "", mass.abs().mean()),
    ]
    for statistic, bound, value in rows:
        print(
            f"NHANES 2017-18,patient,adults,{statistic},{bound},{value:.4f},{n},"
            f'"{SOURCE}"'
        )
    print(f"stature: mean {stature.mean():.2f}, SD {stature.std():.2f}, {len(stature)}")


if __name__ == "__main__":
    main()
