"""Monthly normals of a place: entered, from a table, from a typical year."""

from __future__ import annotations

import math
from typing import Any

import psychrolib
import pytest

from tests.reference.load import table
from tests.server.clients import Client, code, pointers

from .conftest import CHICAGO, SeasonShop, degrees, months_of

ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
HEADER = "LOCATION,Testing,AA,AAA,made up,123456,41.98,-87.92,-6.0,201.0\n" + "COMMENTS\n" * 7


def climate(**more: Any) -> dict[str, Any]:
    return {"name": "A place", "source": "made up", "months": months_of(), **more}


def column(name: str, dataset: str = CHICAGO) -> list[float]:
    return [float(row[name]) for row in table("climate_monthly") if row["dataset"] == dataset]


def test_normals_come_back_with_every_measure_of_damp(client: Client) -> None:
    # NREL TMY3 Chicago by way of diyepw; damp from a month's means misses its vapour by a fifth at most
    for measure, close in (("dew_point", 0.2), ("relative_humidity", 0.2), ("vapour_pressure", 1e-4)):
        body = climate(name=measure, months=months_of(measure=measure))
        made = client.post("/v1/climates", json=body)
        assert made.status_code == 201
        got = client.get(made.headers["Location"]).get_json()
        assert got["measure"] == measure
        assert [month["month"] for month in got["months"]] == list(range(1, 13))
        pressures = [month["vapour_pressure"]["value"] for month in got["months"]]
        assert pressures == pytest.approx(column("pv_mean_Pa_AE_water"), rel=close)
    inches = client.get(made.headers["Location"], query_string={"units": "inch"}).get_json()
    assert inches["months"][0]["temperature"] == {"value": pytest.approx(23.64), "unit": "degF"}


BAD_MONTHS = [
    (lambda m: m[:6] + m[7:], "/months", "July missing"),
    (lambda m: [*m[:-1], m[0]], "/months/11/month", "there twice"),
    (lambda m: [*m[:-1], m[0]], "/months", "December missing"),
    (lambda m: _with(m, 6, temperature=degrees(75.4)), "/months/6/temperature", "degF"),
    (lambda m: _with(m, 6, dew_point=degrees(40.0)), "/months/6/dew_point", "must not lie above"),
    (lambda m: _with(m, 6, dew_point=None), "/months/6/dew_point", "July has no dew point"),
    (lambda m: _damp(m, 130.0), "/months/0/relative_humidity", "at most 100"),
    (lambda m: _damp(m, 0.7, also=degrees(-3.0)), "/months", "the same for every month"),
    (lambda m: _pressure(m, 90000.0), "/months/0/vapour_pressure", "holds at most"),
]


def _with(months: list[dict[str, Any]], at: int, **more: Any) -> list[dict[str, Any]]:
    return [{**month, **(more if n == at else {})} for n, month in enumerate(months)]


def _damp(months: list[dict[str, Any]], value: float, also: Any = None) -> list[dict[str, Any]]:
    return [
        {"month": m["month"], "temperature": m["temperature"], "dew_point": also,
         "relative_humidity": {"value": value, "unit": "percent"}}
        for m in months
    ]  # fmt: skip


def _pressure(months: list[dict[str, Any]], value: float) -> list[dict[str, Any]]:
    return [
        {
            "month": m["month"],
            "temperature": m["temperature"],
            "vapour_pressure": {"value": value, "unit": "Pa"},
        }
        for m in months
    ]


@ON_SQLITE
def test_bad_months_are_named(client: Client) -> None:
    for change, at, words in BAD_MONTHS:
        answer = client.post("/v1/climates", json=climate(months=change(months_of())))
        assert answer.status_code == 422, at
        said = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
        assert words in said[at]
    assert client.get("/v1/climates").get_json()["items"] == []
    months = _with(months_of(), 2, temperature={"value": 3.0, "unit": "mm"})
    answer = client.post("/v1/climates", json=climate(months=months))
    assert pointers(answer) == ["/months/2/temperature/unit"]


def csv_of(separator: str = ",", *, fahrenheit: bool = False, comma: bool = False) -> str:
    heading = separator.join(
        ["month", f"temperature_{'degF' if fahrenheit else 'degC'}", "relative_humidity_percent"]
    )
    lines = ["# made from NREL TMY3", heading]
    for row in table("climate_monthly"):
        if row["dataset"] == CHICAGO:
            warm = float(row["T_mean_C"])
            cells = [row["month"], f"{warm * 1.8 + 32 if fahrenheit else warm:.3f}", row["RH_mean_percent"]]
            lines.append(separator.join(cell.replace(".", ",") if comma else cell for cell in cells))
    return "\n".join(lines) + "\n"


def test_a_table_of_months_says_the_same_however_it_is_written(client: Client) -> None:
    ways = csv_of(), csv_of(";", comma=True), csv_of("\t"), csv_of(fahrenheit=True), "\ufeff" + csv_of()
    for n, text in enumerate(ways):
        answer = client.post(
            f"/v1/climates/csv?name=Chicago-{n}&source=NREL", data=text.encode(), content_type="text/csv"
        )
        assert answer.status_code == 201, answer.get_data(as_text=True)
        got = [month["temperature"]["value"] for month in answer.get_json()["months"]]
        assert got == pytest.approx(column("T_mean_C"), abs=0.01)
        assert answer.get_json()["origin"] == "csv"


BAD_TABLES = (
    ("", "/lines/1", "empty"),
    ("month,temperature_degC\n1,2\n", "/lines/1", "relative_humidity_percent"),
    ("month,temperature,relative_humidity_percent\n", "/lines/1", "temperature_degC or temperature_degF"),
    (csv_of().replace("\n1,", "\n13,"), "/lines/3/month", "1 to 12"),
    (
        csv_of().replace("\n1,", "\n1,1,"),
        "/lines/3/",
        "4 columns where the headings name 3: write numbers with a point",
    ),
    (csv_of().replace("\n7,24.135", "\n7,warm"), "/lines/9/temperature_degC", "a number"),
    (csv_of().replace("73.625", "130"), "/lines/9/relative_humidity_percent", "at most 100"),
    (csv_of().replace("\n7,24.135", "\n7,75.4"), "/lines/9/temperature_degC", "from -60 to 50"),
    ("\n".join(csv_of().splitlines()[:-1]), "/months", "December missing"),
)


@ON_SQLITE
def test_bad_lines_of_a_table_are_named(client: Client) -> None:
    for text, at, words in BAD_TABLES:
        answer = client.post("/v1/climates/csv?name=X&source=Y", data=text.encode(), content_type="text/csv")
        assert answer.status_code == 422, at
        said = {error["pointer"]: error["message"] for error in answer.get_json()["errors"]}
        assert words in said[at]


def hour_of(month: int, day: int, hour: int) -> tuple[float, float]:
    """Temperature and relative humidity of a made-up year [degC, %]."""
    season = -math.cos(2 * math.pi * (month - 1 + day / 31) / 12)
    warm = 10.0 + 12.0 * season + 4.0 * math.sin(2 * math.pi * (hour - 9) / 24)
    return round(warm, 1), round(70.0 - 10.0 * math.sin(2 * math.pi * (hour - 9) / 24))


def typical_year(*, damp: str = "humidity", drop: Any = None) -> str:
    """A made-up typical year in EPW."""
    days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    lines = []
    for month, count in enumerate(days, 1):
        for day in range(1, count + 1):
            for hour in range(1, 25):
                warm, humid = hour_of(month, day, hour)
                dew = 99.9
                if damp == "dew point":
                    dew = round(_dew_point(warm, humid), 2)
                    humid = 999
                if drop is not None and drop(month, day, hour):
                    warm = 99.9
                lines.append(f"1999,{month},{day},{hour},0,?9?9,{warm},{dew},{humid},99000,0,0")
    return HEADER + "\n".join(lines) + "\n"


def _dew_point(warm: float, humid: float) -> float:
    return float(psychrolib.GetTDewPointFromRelHum(warm, humid / 100.0))


@pytest.fixture(autouse=True)
def si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@ON_SQLITE
@pytest.mark.parametrize("damp", ["humidity", "dew point"])
def test_a_typical_year_becomes_its_monthly_means(client: Client, damp: str) -> None:
    answer = client.post("/v1/climates/epw", data=typical_year(damp=damp), content_type="text/plain")
    assert answer.status_code == 201, answer.get_data(as_text=True)
    got = answer.get_json()
    assert (got["name"], got["place"], got["origin"]) == ("Testing 123456", "Testing", "epw")
    assert (got["hours_used"], got["hours_left_out"], got["latitude"]) == (8760, 0, 41.98)
    july = [hour_of(7, day, hour) for day in range(1, 32) for hour in range(1, 25)]
    warm = sum(each[0] for each in july) / len(july)
    assert got["months"][6]["temperature"]["value"] == pytest.approx(warm, abs=0.005)
    # psychrolib (ASHRAE Handbook of Fundamentals 2017, ch. 1): pressure over water above 0 degC
    pressure = sum(psychrolib.GetVapPresFromRelHum(each[0], each[1] / 100) for each in july) / len(july)
    assert got["months"][6]["vapour_pressure"]["value"] == pytest.approx(pressure, rel=0.003)


def test_hours_that_are_missing_are_counted_and_months_without_days_refused(client: Client) -> None:
    some = typical_year(drop=lambda month, day, hour: month == 3 and day <= 11)
    got = client.post("/v1/climates/epw?name=some", data=some, content_type="text/plain").get_json()
    assert (got["hours_left_out"], got["days_used"][2]) == (11 * 24, 20)
    odd = some.replace("41.98", "1e308", 1)
    taken = client.post("/v1/climates/epw?name=some", data=odd, content_type="text/plain")
    assert (code(taken), pointers(taken)) == ("name-used-already", ["/query/name"])
    other = client.post("/v1/climates/epw?name=other", data=odd, content_type="text/plain").get_json()
    assert other["latitude"] is None  # there is no such place
    few = typical_year(drop=lambda month, day, hour: month in (3, 8) and hour > 17)
    answer = client.post("/v1/climates/epw", data=few, content_type="text/plain")
    assert answer.status_code == 422
    assert pointers(answer) == ["/months/3", "/months/8"]


@ON_SQLITE
def test_a_leap_years_day_is_counted_and_an_hour_that_comes_twice_refused(client: Client) -> None:
    year = typical_year()
    lines = year.splitlines()
    leap = "\n".join([*lines, *(f"2000,2,29,{hour},0,?9?9,30.0,99.9,50,99000,0,0" for hour in range(1, 25))])
    got = client.post("/v1/climates/epw?name=leap", data=leap, content_type="text/plain").get_json()
    assert (got["hours_used"], got["hours_left_out"]) == (8760, 24)
    twice = "\n".join([*lines, lines[20]])
    answer = client.post("/v1/climates/epw", data=twice, content_type="text/plain")
    assert pointers(answer) == [f"/lines/{len(lines) + 1}"]
    assert "in line 21 already" in answer.get_json()["errors"][0]["message"]


@ON_SQLITE
def test_hours_in_another_unit_are_no_climate(client: Client) -> None:
    hot = []
    for line in typical_year().splitlines():
        cells = line.split(",")
        if cells[0] == "1999":
            cells[6] = f"{float(cells[6]) * 1.8 + 32.0:.1f}"
        hot.append(",".join(cells))
    answer = client.post("/v1/climates/epw", data="\n".join(hot), content_type="text/plain")
    assert answer.status_code == 422
    assert "degF" in answer.get_json()["errors"][0]["message"]


NO_YEARS = (
    ("", "/lines/1"),
    ("a,b,c\n", "/lines/1"),
    (HEADER, "/lines/9"),
    (HEADER + "1999,x,1,1,0,?,20,10,50,0\n", "/lines/9"),
    (HEADER + "1999,2,30,1,0,?,20,10,50,0\n", "/lines/9"),
    (HEADER + "1999,1,1,25,0,?,20,10,50,0\n", "/lines/9"),
    (HEADER + "1999,1,1,1,0,?,20\n", "/lines/9"),
    ("\x00", ""),
)


@ON_SQLITE
def test_what_is_no_typical_year_is_refused(client: Client) -> None:
    for text, at in NO_YEARS:
        answer = client.post("/v1/climates/epw", data=text.encode(), content_type="text/plain")
        assert answer.status_code == 422, text
        assert pointers(answer) == [at]
    large = client.post("/v1/climates/epw", data=b" " * (4 * 1024 * 1024 + 1), content_type="text/plain")
    assert large.status_code == 413
    assert client.post("/v1/climates/epw", json={}).status_code == 415


def test_a_climate_is_changed_with_care(client: Client) -> None:
    made = client.post("/v1/climates", json=climate())
    path = made.headers["Location"]
    assert client.patch(path, json={"place": "Elsewhere"}).status_code == 428
    changed = client.patch(path, json={"place": "Elsewhere"}, etag=made.headers["ETag"])
    assert (changed.status_code, changed.get_json()["place"]) == (200, "Elsewhere")
    assert client.patch(path, json={"place": "A"}, etag=made.headers["ETag"]).status_code == 412
    assert code(client.post("/v1/climates", json=climate())) == "name-used-already"


def test_the_shops_ways_of_keeping_rooms(shop: SeasonShop) -> None:
    usual = shop.bench.get("/v1/season-settings").get_json()
    # common practice, no published source: 20 degC, 2 g/m3 in a shop, 3 in a home
    assert usual["shop"]["moisture_excess"] == {"value": 2.0, "unit": "g/m3"}
    assert usual["home"]["moisture_excess"] == {"value": 3.0, "unit": "g/m3"}
    body = {
        "climate_id": usual["climate_id"],
        "shop": {"humidifier_set_point": {"value": 45, "unit": "percent"}},
    }
    assert shop.manager.put("/v1/season-settings", json=body).status_code == 428
    said = shop.manager.put("/v1/season-settings", json=body, etag='"1.mm"').get_json()
    assert said["shop"]["humidifier_set_point"]["value"] == 45.0
    assert said["home"]["humidifier_set_point"] is None
    fight = {**body, "shop": {"humidifier_set_point": {"value": 60, "unit": "percent"},
                              "dehumidifier_set_point": {"value": 50, "unit": "percent"}}}  # fmt: skip
    answer = shop.manager.put("/v1/season-settings", json=fight, etag='"2.mm"')
    assert pointers(answer) == ["/shop/humidifier_set_point"]
