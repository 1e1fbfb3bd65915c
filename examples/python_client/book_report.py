# %% [markdown]
# A book of clients as a table and three pictures: what this year's withdrawals cost, and what payroll deducts.
#
#     python examples/bulk/invent.py 1000 book.ndjson
#     python examples/python_client/book_report.py book.ndjson report [http://127.0.0.1:8000]
#
# The lines with two per cent signs begin a cell: editors that know notebooks run this file cell by cell.

# %%
from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import altair as alt
import polars as pl

from client import Client, RefusedError

BOOK, OUT = Path(sys.argv[1]), Path(sys.argv[2])
SERVICE = sys.argv[3] if len(sys.argv) > 3 else "http://127.0.0.1:8000"
AT_ONCE = 5000
CAUTION = "An illustration, not advice."

# %% [markdown]
# ## The book in
# Each line of the book is a record: an id, and a request for a quote.

# %%
with BOOK.open(encoding="utf-8") as lines:
    book: dict[str, dict[str, Any]] = {record["id"]: record["request"] for record in map(json.loads, lines)}

# %% [markdown]
# ## The answers
# Only the parts that are needed are asked for, which is faster. A record that cannot be answered says why.

# %%
FIELDS = "withdrawal,income_tax.on_withdrawal,income_tax.marginal_rate,payroll.tax_deducted,payroll.over_deducted,net_after_tax"

client, names = Client(SERVICE, deadline=300), list(book)
answers: dict[str, dict[str, Any] | RefusedError] = {}
for first in range(0, len(names), AT_ONCE):
    records = {name: book[name] for name in names[first : first + AT_ONCE]}
    answers |= client.in_bulk("withdrawal-tax", records, FIELDS)

refused = {name: answer for name, answer in answers.items() if isinstance(answer, RefusedError)}
rows = [
    {
        "client": name,
        "nation": book[name]["household"]["people"][0]["tax_residence"].replace("_", " ").title(),
        "method": answer["withdrawal"]["method"],
        "gross": answer["withdrawal"]["gross"],
        "tax": answer["income_tax"]["on_withdrawal"],
        "deducted": answer["payroll"]["tax_deducted"],
        "to_reclaim": answer["payroll"]["over_deducted"],
        "kept": answer["net_after_tax"],
        "next_pound": answer["income_tax"]["marginal_rate"],
    }
    for name, answer in answers.items()
    if not isinstance(answer, RefusedError)
]
clients = pl.DataFrame(rows).with_columns(share=pl.col("tax") / pl.col("gross"))

# %% [markdown]
# ## The table
# Of each nation: how many, what is withdrawn, what it costs, and how much of what payroll deducts can be reclaimed.

# %%
table = (
    clients.group_by("nation")
    .agg(
        clients=pl.len(),
        withdrawn=pl.sum("gross"),
        tax=pl.sum("tax"),
        of_each_pound=pl.sum("tax") / pl.sum("gross"),
        clients_who_can_reclaim=(pl.col("to_reclaim") > 0).sum(),
        to_reclaim=pl.sum("to_reclaim"),
    )
    .sort("withdrawn", descending=True)
    .with_columns(pl.col("withdrawn", "tax", "to_reclaim").round(2), pl.col("of_each_pound").round(4))
)
OUT.mkdir(parents=True, exist_ok=True)
table.write_csv(OUT / "nations.csv")
with pl.Config(tbl_cols=-1, tbl_width_chars=140, float_precision=2, thousands_separator=True):
    print(table)
print(f"{len(rows):,} of {len(book):,} records answered.")
for name, fault in list(refused.items())[:3]:
    print(f"  {name}: {fault.problem['detail']}")

# %% [markdown]
# ## Three pictures


# %%
def picture(name: str, title: str, subtitle: str, chart: alt.Chart | alt.LayerChart | alt.FacetChart) -> None:
    """Write a picture as SVG."""
    chart.properties(
        title=alt.Title(title, subtitle=f"{subtitle} {CAUTION}", anchor="start"), width=560, height=300
    ).save(OUT / f"{name}.svg")


POUNDS = alt.Axis(format=",.0f", labelExpr="'£' + datum.label")

picture(
    "tax_share",
    "How much of a withdrawal goes in tax",
    f"{len(rows):,} withdrawals, by the part of each that is the year's tax on it.",
    alt.Chart(clients)
    .mark_bar(color="#0072B2")
    .encode(
        alt.X("share:Q", bin=alt.Bin(step=0.05), axis=alt.Axis(format=".0%"), title="Tax, of the whole withdrawal"),
        alt.Y("count()", title="Withdrawals"),
    ),
)
picture(
    "next_pound",
    "What the next £100 taxed would cost",
    "Withdrawals by the tax on a further £100 of taxable withdrawal.",
    alt.Chart(clients.with_columns(cost="£" + (100 * pl.col("next_pound")).round(0).cast(pl.Int64).cast(pl.String)))
    .mark_bar(color="#0072B2")
    .encode(
        alt.X("cost:N", sort=alt.EncodingSortField("next_pound", op="min"), title=None, axis=alt.Axis(labelAngle=0)),
        alt.Y("count()", title="Withdrawals"),
    ),
)
picture(
    "deducted",
    "Payroll's deduction against the tax due",
    "Each dot is a withdrawal. Above the line, payroll deducts more than it adds to the year's tax.",
    alt.layer(
        alt.Chart(clients)
        .mark_point(color="#0072B2", opacity=0.5, size=18)
        .encode(
            alt.X("tax:Q", title="Tax that the withdrawal adds to the year", axis=POUNDS),
            alt.Y("deducted:Q", title="Deducted by payroll", axis=POUNDS),
        ),
        alt.Chart(pl.DataFrame({"tax": [0.0, clients["tax"].max()]}))
        .mark_line(color="#222222", strokeDash=[4, 3])
        .encode(alt.X("tax:Q"), alt.Y("tax:Q")),
    ),
)
