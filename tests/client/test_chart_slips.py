"""A slip in the chart is said before any size of it is named."""

import pytest

from sizing.app.client_page import answer_html
from sizing.charts import demo_chart, read_chart
from sizing.cli.main import main
from sizing.client import check_client
from sizing.errors import InputProblems
from sizing.pages.client_note import client_note

WOMAN = {"sex": "female", "age_years": 74, "body_mass_kg": 68, "stature_cm": 160}
HIPS = ["hip_circumference_cm_low", "hip_circumference_cm_high"]


def own(tmp_path, change):
    frame = demo_chart().frame.copy()
    frame = change(frame)
    frame.to_csv(tmp_path / "own.csv", index=False)
    return tmp_path / "own.csv"


def slip(frame):
    frame.loc[3, HIPS] = [80, 1040]
    return frame


def millimetres(frame):
    frame[HIPS] *= 10
    return frame


def total(frame):
    frame.loc[len(frame)] = frame.sum(numeric_only=True)
    return frame.assign(size=[*frame["size"][:-1], "Total"])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (slip, "'adult 1' ends at a hip girth of 1040 cm"),
        (millimetres, "it would be plausible in millimetres"),
    ],
)
def test_a_slip_stands_before_the_answer(tmp_path, capsys, change, said):
    """Before, both were passed over in silence and sizes were named."""
    path = own(tmp_path, change)
    assert (
        main(["client", *(f"{k}={v}" for k, v in WOMAN.items()), "--chart", str(path)])
        == 0
    )
    told = capsys.readouterr().out
    # Only what to measure comes before it.
    lines = told.splitlines()
    assert lines[0].startswith("Measure the ")
    assert lines[1].startswith("Check the chart first: ") and said in lines[1]
    answer = check_client(read_chart(path, warn=False), WOMAN)
    note = client_note(answer).markdown()
    assert said in note and note.index(said) < note.index("## ")
    page = answer_html(answer)
    assert page.index("Check the chart first") < page.index("<b>")
    assert any(
        said in words.replace("circumference", "girth")
        for words in answer.to_dict()["chart_findings"]
    )


def test_a_row_of_sums_is_no_size(tmp_path, capsys):
    """Before, 'Total' was a size of 584 to 1,190 kg."""
    path = own(tmp_path, total)
    with pytest.raises(InputProblems, match=r"row 11, column .size"):
        read_chart(path, warn=False)
    assert main(["client", "sex=f", "--chart", str(path)]) == 2
    assert "delete the row" in capsys.readouterr().err


def test_what_is_merely_doubtful_stands_with_the_notes(tmp_path):
    def gap(frame):
        return frame.drop(index=4)

    answer = check_client(read_chart(own(tmp_path, gap), warn=False), WOMAN)
    assert not answer.answer().startswith("Check the chart")
    words = [f"Of the chart: {w}" for w in answer.findings["words"]]
    assert words and answer.summary().count("Of the chart: ") == len(words)
    assert answer_html(answer).count("Of the chart: ") == len(words)
