"""How far one turn moves a reading, learned from what adjustments did; and how much to turn."""

from __future__ import annotations

from typing import Any

from shimstock_calc import pooling, response
from shimstock_calc.errors import OutOfRange
from shimstock_calc.pooling import Belief
from shimstock_calc.response import AdjustmentSample, Response
from shimstock_server.web.fields import Choice, ListOf, Nested, Number, StrictSchema, Text, Truth, Whole

from .entry import Calculation, Given, Way
from .fields import Question, Result, asked, calculated, told
from .notes import say
from .remarks import sentences

MOST_SAMPLES = 500
LEAST_RESPONSE = 0.01
LEVELS = ("instrument", "model", "shop", "prior")


def _mark(about: str, **options: Any) -> Text:
    return Text(
        max=64, pattern=r"[\w.:-]+",
        pattern_hint="must be letters, digits, hyphens, dots or colons, such as an id or a number",
        metadata={"description": f"{about}, by any mark without spaces."}, **options,
    )  # fmt: skip


class SampleIn(StrictSchema):
    """An adjustment with a reading before and after."""

    moved = asked("turns", -4.0, 4.0, "What was done; positive = tighten", required=True)
    before = asked("relief", -5.0, 5.0, "Relief before", required=True)
    after = asked("relief", -5.0, 5.0, "Relief afterwards, read in the same way", required=True)
    uncertainty_before = asked("resolution", 1e-3, 2.0, "Standard uncertainty of the first", required=True)
    uncertainty_after = asked("resolution", 1e-3, 2.0, "Standard uncertainty of the second", required=True)
    instrument = _mark("Which instrument", required=True)
    model = _mark("Which model it is of", required=True)
    settled = Truth(load_default=True, metadata={"description": "Whether the neck had settled."})
    alone = Truth(
        load_default=True, metadata={"description": "Whether nothing else that moves relief was done."}
    )


class EstimateIn(StrictSchema):
    """An estimate with its error."""

    estimate = asked("rod-response", -100.0, 100.0, "A response found by itself", required=True)
    uncertainty = asked("rod-response", 1e-6, 100.0, "Its standard uncertainty", required=True)


class AdjustmentResponseQuestion(Question):
    """Samples, or a wanted change of relief, or both."""

    samples = ListOf(
        Nested(SampleIn), max=MOST_SAMPLES, metadata={"description": "Adjustments to learn from."}
    )
    instrument = _mark("Which instrument is asked about; unknown else")
    model = _mark("Which model it is of; unknown else")
    prior = asked("rod-response", -5.0, 5.0, "Response that is believed without samples; -0.40 mm/turn else")
    prior_sd = asked("rod-response", 1e-3, 5.0, "Standard deviation of that belief; 0.16 mm/turn else")
    method = Choice(
        ("reml", "dl"), load_default="reml",
        metadata={"description": "Restricted maximum likelihood, or DerSimonian and Laird."},
    )  # fmt: skip
    change = asked("relief", -5.0, 5.0, "Wanted change of relief; negative = less")
    turns = asked("turns", -4.0, 4.0, "Turns whose effect is asked; positive = tighten")
    estimates = ListOf(
        Nested(EstimateIn), min=1, max=500,
        metadata={"description": "Independent estimates to draw toward their mean, by themselves."},
    )  # fmt: skip


class ResponseOut(StrictSchema):
    """What is believed of one turn."""

    of = Text(metadata={"description": "Which instrument or model; shop for any other."})
    response = told("rod-response", "Change of relief by one turn of tightening")
    sd = told("rod-response", "Standard deviation of it")
    level = Choice(LEVELS, metadata={"description": "What the nearest samples belong to."})
    samples = Whole(metadata={"description": "How many there are."})


class FlaggedOut(StrictSchema):
    """A sample to look at."""

    index = Whole(metadata={"description": "Its place in the list, from 0."})
    reason = Text(max=300)
    used = Truth(metadata={"description": "Whether it was used all the same."})
    response = told("rod-response", "What it says by itself", maybe=True)


class TurnsOut(StrictSchema):
    """How much to turn, or what turning does."""

    turns = told("turns", "In eighths; positive = tighten")
    direction = Choice(("tighten", "loosen", "leave"))
    change = told("relief", "Change of relief that is expected of it")
    sd = told("relief", "Standard deviation of that")


class ShrunkOut(StrictSchema):
    """An estimate drawn toward the mean."""

    estimate = told("rod-response", "Drawn toward the mean")
    sd = told("rod-response", "Its standard deviation")


class AdjustmentResponseResult(Result):
    """What is believed of one turn, and how much to turn."""

    calculated = calculated("response", "turns", "change", "pooled")
    response = Nested(ResponseOut, allow_none=True)
    instruments = ListOf(Nested(ResponseOut))
    models = ListOf(Nested(ResponseOut))
    flagged = ListOf(Nested(FlaggedOut))
    used = Whole(allow_none=True, metadata={"description": "How many samples were used."})
    now = Nested(
        TurnsOut, allow_none=True,
        metadata={"description": "Before tuning and reading again: a quarter turn at most."},
    )  # fmt: skip
    in_all = Nested(TurnsOut, allow_none=True, metadata={"description": "A forecast of all of it."})
    mean = told("rod-response", "Common mean of the estimates", maybe=True)
    mean_sd = told("rod-response", "Its standard error", maybe=True)
    between_sd = told("rod-response", "Standard deviation of the true values about the mean", maybe=True)
    heterogeneity = Number(
        allow_none=True,
        metadata={"description": "Cochran's Q: about one less than the estimates when they agree."},
    )
    shrunk = ListOf(Nested(ShrunkOut))


_CARE = (
    "At most a quarter turn, then tune, then read again; the right wrench, fully seated. Stop when the nut "
    "is stiff or creaks, or when relief does not follow."
)


def _prior(given: Given) -> Response:
    usual = response.ROD_PRIOR
    if "prior" not in given and "prior_sd" not in given:
        return usual
    mean = given.get("prior", usual.mean)
    if abs(mean) < LEAST_RESPONSE:
        raise OutOfRange(
            f"one that moves relief by less than {say('rod-response', LEAST_RESPONSE)} does nothing",
            "prior",
        )
    return Response(mean, given.get("prior_sd", usual.sd), "as given")


def _learned(given: Given) -> tuple[Response, dict[str, Any]]:
    """Return what is believed of the instrument asked about, and what the samples say."""
    prior = _prior(given)
    samples = [AdjustmentSample(**each) for each in given.get("samples", ())]
    found = response.adjustment_response(samples, prior, method=given["method"])
    believed = found.of(given.get("instrument"), given.get("model"))
    asked_about = {"instrument": given.get("instrument"), "model": given.get("model")}.get(believed.level)
    nested = found.nested
    return believed, {
        "response": _told(asked_about or "shop", believed),
        "instruments": [_told(name, belief) for name, belief in nested.instruments.items()],
        "models": [_told(name, belief) for name, belief in nested.models.items()],
        "flagged": [vars(each) for each in found.flagged],
        "used": found.used,
        "shrunk": [],
        "note": _notes(given, believed, found.used),
    }


def _notes(given: Given, believed: Response, used: int) -> list[str]:
    note = []
    if believed.level == "prior":
        note.append(f"One turn is taken as {_spread(believed)}: {believed.source}.")
    if used < len(given.get("samples", ())):
        note.append("Samples that cannot be trusted were left out: see flagged.")
    if believed.mean > 0.0:
        note.append("More relief when tightened: a reversed rod; the first eighth of a turn tells.")
    return note


def _spread(believed: Response) -> str:
    return f"{say('rod-response', believed.mean)} ± {say('rod-response', believed.sd)}"


def _told(name: object, belief: Belief | Response) -> dict[str, Any]:
    return {
        "of": str(name),
        "response": belief.mean,
        "sd": belief.sd,
        "level": belief.level,
        "samples": belief.samples,
    }


def _response(given: Given) -> dict[str, Any]:
    return _learned(given)[1]


def _turns(given: Given) -> dict[str, Any]:
    believed, found = _learned(given)
    advice = response.turns_for(given["change"], believed)
    return {
        **found,
        "now": _turned(advice.now, advice.change_now, advice.sd_now),
        "in_all": _turned(advice.total, advice.change_total, advice.sd_total),
        "note": [*found["note"], *sentences([_CARE])],
    }


def _turned(turns: float, change: float, sd: float) -> dict[str, Any]:
    direction = "leave" if turns == 0.0 else "tighten" if turns > 0.0 else "loosen"
    return {"turns": turns, "direction": direction, "change": change, "sd": sd}


def _change(given: Given) -> dict[str, Any]:
    believed, found = _learned(given)
    turned = _turned(given["turns"], *response.change_for(given["turns"], believed))
    note = list(found["note"])
    if abs(given["turns"]) > response.MOST_TURN:
        note.append(_CARE)
    return {**found, "in_all": turned, "note": note}


def _pooled(given: Given) -> dict[str, Any]:
    estimates = [each["estimate"] for each in given["estimates"]]
    variances = [each["uncertainty"] ** 2 for each in given["estimates"]]
    found = pooling.pool(estimates, variances, given["method"])
    return {
        "instruments": [],
        "models": [],
        "flagged": [],
        "mean": found.mean,
        "mean_sd": found.mean_sd,
        "between_sd": found.between_variance**0.5,
        "heterogeneity": found.heterogeneity,
        "shrunk": [
            {"estimate": float(value), "sd": float(sd)}
            for value, sd in zip(found.shrunk, found.shrunk_sd, strict=True)
        ],
    }


_BELIEF = ("samples", "prior", "prior_sd", "instrument", "model")

ADJUSTMENT_RESPONSE = Calculation(
    name="adjustment-response",
    title="How far a turn of the truss rod moves relief",
    about=(
        "Adjustments with a reading before and after give what one turn does to each instrument, its model "
        "and any other, each drawn toward the rest as far as its own error warrants. A wanted change of "
        "relief gives the turns, never more than a quarter at once; turns give the change. Without samples a "
        "stated prior answers. Estimates with their errors are pooled by themselves."
    ),
    question=AdjustmentResponseQuestion,
    result=AdjustmentResponseResult,
    ways=(
        Way("response", ("samples",), _response, may=_BELIEF),
        Way("turns", ("change",), _turns, may=_BELIEF),
        Way("change", ("turns",), _change, may=_BELIEF),
        Way("pooled", ("estimates",), _pooled),
    ),
    source=(
        "S. W. Raudenbush & A. S. Bryk, Empirical Bayes meta-analysis, J. Educ. Statist. 10, 75 (1985)",
        "R. DerSimonian & N. Laird, Meta-analysis in clinical trials, Control. Clin. Trials 7, 177 (1986)",
        "One turn of tightening takes 0.40 mm of relief, eighths, a quarter turn at once: common practice, "
        "no published source; ± 0.16 mm: judgement",
    ),
    validity=(
        "Normal errors and normal spread between models and between instruments. Relief read in one way "
        "before and after, on a settled neck."
    ),
    formulas=(response.adjustment_response, response.turns_for, response.change_for, pooling.pool,
              pooling.pool_nested, pooling.between_variance),
    blame={
        "response": "prior", "mean": "prior", "sd": "prior_sd", "models": "samples",
        "instruments": "samples", "variances": "estimates",
    },
)  # fmt: skip
