"""Where the evidence stops, in plain sentences."""

AT_HOME = (
    "People living at home in the United States, examined at a mobile centre in "
    "2017-18: nobody from a nursing home, hospital or other institution."
)
NO_SURVEY_WEIGHTS = (
    "The kit carries nobody's survey weight. People are weighted to the survey's own "
    "totals of 2017-18: age, sex, ethnic group, class of body mass index and "
    "difficulty walking. The survey picked people in clusters, which the kit does not "
    "see: intervals of the country's shares are somewhat too narrow."
)
AGE_CAPPED = "Ages above 80 are all recorded as 80."
NOT_MEASURED_SEATED = (
    "Nobody here was measured seated. Seated measures and girths other than the "
    "waist are drawn from models fitted to other surveys. So are weight and height "
    "where they are missing, which is more often so in people who cannot stand."
)
SOLDIERS = (
    "Adult lengths, chest, thigh and hip breadth come from soldiers aged 17 to 58 "
    "(ANSUR II, 2012): fitter, leaner and younger than most people lifted by hoist."
)
HEAVY = (
    "Beyond about 130 kg nobody's thigh girth or seated hip breadth was measured: "
    "such figures are marked unsupported."
)
SEAT_BREADTH = (
    "Seated hip breadth drawn for women agrees within 0.5 cm with women of three armed "
    "forces measured from 1987 to 2015. It is 2.6 cm wider than in civilians of that "
    "height and weight measured in 1960-62 (published figures)."
)
MODEL_BIAS = (
    "The body model was set against published populations of 1940 to 2015 that it "
    "never saw. The typical error of its means was 1.0 % for hip girth, 0.8 % for "
    "bottom-to-knee length, 1.2 % for seat-to-shoulder height and 1.6 % for hip "
    "width. It was 3.0 % for thigh girth, 3.8 % for chest and 4.0 % for waist girth. "
    "Chest and waist were often taken at another level. Intervals of percentiles, of "
    "shares, of differences between charts and of a stock's days count it. Nobody "
    "has set the model against people lifted by hoist."
)
CHILDREN_1977 = (
    "Children's measures come from US children measured by 1977 (Snyder 1977); hip "
    "girth from 12 comes from youths of 2017-18. Many of today's children are heavier "
    "for their age than any of those of 1977. How far these measures may be off "
    "elsewhere is taken to be as much as in adults."
)
CHILD_POPLITEAL = (
    "Children's bottom-to-knee length is converted from buttock-knee length by "
    "a factor that nobody has validated."
)
BACK = (
    "The back along the body is put together from lengths of standing soldiers, a "
    "child's by the adults' share. The buttock's curve is not in it: a tape may read "
    "more. Nobody has checked it, and how far it may be off is our choice."
)
SEAM = (
    "Between 16 and 20 years a child model and an adult model meet, and do not "
    "quite agree: some measures step there by a centimetre or two."
)
NO_POSTURE = (
    "Nobody here is known to have a contracture, an amputation, scoliosis or "
    "oedema; each changes what fits."
)
PROXY = (
    "People who report serious difficulty walking or climbing stairs stand in for "
    "people lifted by hoist: a proxy, not a sample of them."
)
CARE_HOME = (
    "People aged 65 and over living at home, reweighted to the sex, age and body "
    "mass index of nursing-home residents. Nobody was measured in a care home. "
    "Frailty and time in bed change bodies in ways that weights cannot."
)
CARE_HOME_US = (
    "The body mass index is that of long-stay residents of all ages, sex and age are "
    "those of residents of 65 and over. A little fewer of those are obese (25.9 %, "
    "n = 593,443)."
)
CARE_HOME_NORDIC = (
    "The share with a body mass index under 20 comes from 180 Danish residents. By "
    "chance alone the true one may be 26 to 40 %; the intervals do not count that. "
    "Sex, age and the share of obese are of 1,044 Norwegians on the day they moved in."
)
WHEELCHAIR = (
    "Only sex and age are those of wheelchair users (adults living at home in the "
    "United States in 2005, as they said themselves). The bodies are those of people "
    "who report serious difficulty walking: many of them use no wheelchair."
)
CARE_HOME_AGE = (
    "The share aged 80 and over is worked out from a mean age of 84.3 (SD 7.6), as if "
    "ages above 65 followed a normal curve. Ages in the survey stop at 80: beyond it "
    "they cannot be matched."
)
BARIATRIC = (
    "No one threshold makes a person bariatric: policies differ in body mass index, "
    "weight and hip width. The threshold is a setting."
)
ENGLAND = (
    "Adults from the United States reweighted to mean heights and classes of body mass "
    "index measured in England from 2018 to 2024. Age mix, ethnic mix and body shape "
    "at a given weight and height stay American."
)
OWN = (
    "These are the user's own people: who they stand for depends on how they were "
    "chosen, which the kit cannot check."
)

SURVEY = (AT_HOME, NO_SURVEY_WEIGHTS, AGE_CAPPED, NOT_MEASURED_SEATED)
ADULTS = (SOLDIERS, HEAVY, SEAT_BREADTH, MODEL_BIAS)
CHILDREN = (CHILDREN_1977, CHILD_POPLITEAL, SEAM)

MODEL_SOURCES = (
    "Adult measures drawn: coefficients derived from ANSUR II (Gordon et al. 2014, "
    "NATICK/TR-15/007) and NHANES 2017-March 2020 (US National Center for Health "
    "Statistics). Thighs of people over 58 are thinner and more varied, as in NHANES "
    "2003-06.",
    "Children's measures drawn: coefficients derived from Snyder et al. 1977 "
    "(UM-HSRI-77-17) and, hip girth from 12, NHANES 2017-18.",
)


def model_limits(youngest: float, oldest: float) -> tuple[str, ...]:
    """Return the limits of drawn measures for people of these ages.

    >>> SOLDIERS in model_limits(2, 15), SEAM in model_limits(30, 80)
    (False, False)
    """
    found: list[str] = []
    if oldest >= 16:
        found += ADULTS
    if youngest < 18:
        found += CHILDREN
    elif youngest < 20:
        found.append(SEAM)
    return (*found, BACK)
