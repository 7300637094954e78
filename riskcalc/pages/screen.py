"""What the terminal shows: the same words and rounding as the pages, in a few lines of plain text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from riskcalc.pages.exhibits import answer, options, stay, tracked
from riskcalc.pages.exhibits.boxes import check_first, key_figures
from riskcalc.pages.exhibits.pairs import dominance_words
from riskcalc.pages.exhibits.payback import beyond_words, dot_shares, headline_stay, headline_years, paid_share
from riskcalc.pages.exhibits.stays import stay_words
from riskcalc.pages.figures import (
    PLAIN,
    capital,
    counted,
    estimate,
    grouped,
    lower,
    money,
    percent,
    say,
    value_of,
    whole_years,
    years,
)
from riskcalc.types import Figures

BAR_WIDTH = 40
MOST_DIFFERENCES = 20


def plain(lines: Sequence[str]) -> list[str]:
    """Return the lines with ordinary spaces: those that keep figures together on a page are of no use here."""
    return [line.translate(PLAIN) for line in lines]


def summary_lines(figures: Figures) -> list[str]:
    """Return the answer in a few lines with a text histogram of when the purchase pays back."""
    currency = figures["currency"]
    worth, draws = figures["net_present_value"], figures["provenance"]["draws"]
    message = counted(
        "{title}: {draws} possible futures of {count} year each",
        "{title}: {draws} possible futures of {count} years each",
        figures["horizon_years"],
        title="{title}",
        draws=grouped(draws),
    )
    lines = [message.format(title=figures["title"]), answer.verdict_words(figures), *answer.reasons(figures)]
    lines += [
        say("{name}: {figure} ({below})", name=lower(name), figure=figure, below=below)
        for name, figure, below in key_figures(figures)
    ]
    advice = check_first(figures)
    lines += [say("check before you buy: {advice}", advice=advice)] if advice else []
    lines += ["", *histogram_lines(figures), "", *_odds(figures), _when(figures)]
    lines.append(
        say(
            "worth {mean} on average in today's money, {low} to {high} in nine of ten; savings bring more in {loss}",
            mean=money(worth["mean"], currency, with_error=True),
            low=money(worth["p5"], currency),
            high=money(worth["p95"], currency),
            loss=percent(worth["loss_probability"]),
        )
    )
    more = (answer.refused_words(figures), stay.stay_brief(figures), stay.sale_brief(figures), stay.loan_brief(figures))
    lines += [text for text in more if text]
    leading = [row for row in figures["ranking"] if row["key"] != "interactions"][:3]
    if leading:
        lines.append(
            "what decides it: how much of the difference between good and bad futures each input explains alone"
        )
        lines += [f"  {_share(row):>5}  {capital(row['label'])}" for row in leading]
    lines += [
        say("claimed: {claim} {truth}", claim=row["sentence"], truth=_truth(row)) for row in figures.get("claims", ())
    ]
    lines += _running_lines(figures)
    lines += _foresight_lines(figures)
    lines += question_lines(figures)
    return plain([*lines, *(say("note: {limit}", limit=limit) for limit in figures["limits"])])


def question_lines(figures: Figures) -> list[str]:
    """Return a line for each figure that is possible but unusual."""
    rows = figures.get("questions", ())
    return [say("is this right? {question}", question=answer.question_words(row, figures)) for row in rows]


def _odds(figures: Figures) -> Iterator[str]:
    """Yield the odds within the stay where the headline is about it, and those within the headline's years."""
    horizon = headline_years(figures)
    if headline_stay(figures):
        yield say("paid back before you move out: {share}", share=percent(paid_share(figures), with_error=True))
    share = percent(figures["paid_back_within_years"][horizon - 1], with_error=True)
    yield say("paid back within {years}: {share}", years=whole_years(horizon), share=share)


def _when(figures: Figures) -> str:
    """Return when half and one in twenty have paid back, or that so few do."""
    payback, horizon = figures["payback_years"], figures["horizon_years"]
    if payback["p5"]["value"] is None:
        return "fewer than one in twenty pay back"
    best = years(payback["p5"], horizon=horizon)
    if payback["p50"]["value"] is None:
        return say("fewer than half pay back; the best 5 % within {best}", best=best)
    return say(
        "half of the futures pay back within {half}; the best 5 % within {best}",
        half=years(payback["p50"], horizon=horizon),
        best=best,
    )


def histogram_lines(figures: Figures) -> list[str]:
    """Return one bar per year in which futures pay back, and one for those that do not."""
    shares, before = [], 0.0
    for year, share in enumerate(dot_shares(figures)[0], start=1):
        shares.append((f"year {year}", float(share) - before))
        before = float(share)
    shares.append((beyond_words(figures), 1.0 - before))
    longest = max(share for _, share in shares) or 1.0
    wide = max(len(name) for name, _ in shares)
    return [
        f"{name:>{wide}} {'█' * round(BAR_WIDTH * share / longest):<{BAR_WIDTH}} {share:6.1%}"
        for name, share in shares
        if share > 1e-12
    ]


def _running_lines(figures: Figures) -> Iterator[str]:
    """Yield what was optimised of charging targets, switch dates, hold-back and export, if anything was."""
    found = figures.get("running")
    if found is None:
        return
    yield from _target_lines(found)
    if found["solar_only_from"] is not None:
        yield say("on solar only from {start} to {end}", start=found["solar_only_from"], end=found["solar_only_until"])
    if any(found["hold_back_share"]):
        yield say("kept for the dearest hours, January first: {shares} %", shares=_percents(found["hold_back_share"]))
    if found.get("export_stored_above_share") is not None:
        shares = _percents(found["export_stored_above_share"])
        yield say("stored energy exported down to, January first: {shares} %", shares=shares)


def _target_lines(found: Figures) -> Iterator[str]:
    """Yield the targets of charging: of each household's own, or by the month and kind of day."""
    by_need = found.get("by_need")
    if by_need is None:
        for place, kind in enumerate(found["forecasts"] or [""]):
            day = f"a {kind}" if kind else "each"
            shares = _percents([row[place] for row in found["target_share"]])
            yield say("charged from the supply for {day} day up to, January first: {shares} %", day=day, shares=shares)
        return
    yield say(
        "charged from the supply for {need} % of what the next day usually needs, less {sun} % of the sun {told}",
        need=f"{100 * by_need['need_share']:.0f}",
        sun=f"{100 * by_need['sun_share']:.0f}",
        told="forecast" if found["forecasts"] else "usual in the month",
    )
    yield say("  and beside that, January first: {shares} % of the battery", shares=_percents(by_need["offset_share"]))


def _foresight_lines(figures: Figures) -> Iterator[str]:
    """Yield how near the rule comes to perfect foresight, where that was asked for."""
    seen = figures.get("foresight")
    if seen is not None and seen["taken_share"]["value"] is not None:
        yield say(
            "with its charging rule the battery saves {share} of what it could if the future "
            "were known (year {year}, {draws} futures, {step}-minute steps)",
            share=percent(seen["taken_share"], with_error=True),
            year=seen["year"],
            draws=seen["draws"],
            step=seen["step_minutes"],
        )


def brief_text(figures: Figures) -> str:
    """Return the five sentences to read aloud, and the same as Markdown for a description box."""
    return "\n".join(plain([*answer.brief_lines(figures), "", answer.brief_markdown(figures)]))


def comparison_lines(result: Figures) -> list[str]:
    """Return the options as a table, then what separates the best from the others."""
    currency, shown = result["currency"], options.choices(result)
    letters = {row["option"]: f"{row['letter']} · " for row in result.get("compared", ())}
    names = [letters.get(row["option"], "") + row["option"] for row in shown]
    titles = {row["option"]: row["option"] for row in result["options"]}
    width = max(len(name) for name in names)
    message = "{draws} shared futures of {years}; worth against doing nothing"
    lines = [
        options.opening(result),
        *options.reasons(result),
        say(message, draws=grouped(result["provenance"]["draws"]), years=whole_years(result["horizon_years"])),
        "",
        f"{'':<{width}}  {'best in':>8}  {'worth':>18}  {'nine in ten':>24}  {'behind the best':>17}",
    ]
    for name, row in zip(names, shown, strict=True):
        worth = row["net_present_value"]
        spread = say("{low} to {high}", low=money(worth["p5"], currency), high=money(worth["p95"], currency)).translate(
            PLAIN
        )
        mean = money(worth["mean"], currency, with_error=True).translate(PLAIN)
        best, lost = (
            percent(row["best_share"]).translate(PLAIN),
            money(row["expected_regret"], currency).translate(PLAIN),
        )
        lines.append(f"{name:<{width}}  {best:>8}  {mean:>18}  {spread:>24}  {lost:>17}")
    lines += [
        say("{option}: the same as {other}", option=row["option"], other=row["same_as"])
        for row in result["options"]
        if row["same_as"]
    ]
    lines.append("")
    for row in result["pairs"]:
        said = say(
            "{first} against {second}: {mean} on average, ahead in {share}",
            first=row["first"],
            second=row["second"],
            mean=money(row["difference"]["mean"], currency, with_error=True),
            share=percent(row["first_better_share"]),
        )
        gain = row["gain_of_common_draws"]
        lines.append(
            said
            if gain is None
            else say("{said}; {gain} times more precise in shared futures", said=said, gain=f"{gain:.1f}")
        )
        dominance = dominance_words(row, titles)
        lines += [f"  {dominance}"] if dominance else []
    lines += [
        stay_words(row, titles, horizon=result["horizon_years"])
        for row in result["length_of_stay"]
        if row["break_even_years"]["value"] is not None
    ]
    lines += question_lines(result)
    return plain([*lines, *(say("note: {limit}", limit=limit) for limit in result["limits"])])


def matching_lines(result: Figures) -> list[str]:
    """Return each home with its pick, then every cell as a table."""
    known = result["provenance"]
    message = (
        "{draws} shared futures of {years}, in steps of {step}. That is enough to see which kit is clearly ahead. Before "
        "you spend money, run "
        "riskcalc assess for that home and kit."
    )
    step = counted("{count} minute", "{count} minutes", known["step_minutes"])
    lines = [
        say(message, draws=known["draws"], years=whole_years(result["horizon_years"]), step=step),
        "",
    ]
    for home in result["homes"]:
        lines += [*_home_lines(home), ""]
    return plain(lines)


def _home_lines(home: Figures) -> Iterator[str]:
    name, currency = home["home"] or home["file"], home["currency"]
    if home["pick"] is None:
        yield say("{home}: no kit could be compared", home=name)
    else:
        yield say(
            "{home}: {pick}, best in {share}; on average {lead} ahead of {next}",
            home=name,
            pick=home["pick"],
            share=percent(home["pick_best_share"]),
            lead=money(home["lead_over_next"], currency, with_error=True),
            next=options.in_sentence(home["next_best"]),
        )
    run = sorted(
        (cell for cell in home["cells"] if cell["is_run"]),
        key=lambda cell: -value_of(cell["net_present_value"]["mean"]),
    )
    width = max((len(cell["kit"]) for cell in run), default=0)
    for cell in run:
        worth = money(cell["net_present_value"]["mean"], currency).translate(PLAIN)
        paid, best = (percent(cell[key]).translate(PLAIN) for key in ("paid_back_share", "best_share"))
        yield f"  {cell['kit']:<{width}}  worth {worth:>10}  pays back in {paid:>5}  best in {best:>5}"
    left: dict[str, list[str]] = {}
    for cell in home["cells"]:
        if not cell["is_run"]:
            left.setdefault(cell["reason"], []).append(cell["kit"])
    for reason, kits in left.items():
        yield say("  not run: {kits}: {reason}", kits=", ".join(kits), reason=reason)
    yield from (f"  {line}" for line in question_lines(home))


def update_lines(found: Figures) -> list[str]:
    """Return the update in a few lines."""
    measured, currency = found["measured"], found["currency"]
    message = "{scenario}: {verdict} after {months}, {first} to {last}"
    months = counted("{count} month", "{count} months", measured["months"])
    parts = {"first": measured["from"], "last": measured["to"], "months": months}
    lines = [
        say(message, scenario=found["scenario"], verdict=found["verdict"], **parts),
        tracked.opening(found),
        tracked.odds_words(found),
    ]
    for row in found["tracks"]:
        name, total, expected, between, verdict = tracked.track_cells(row, currency)
        message = "{name}: {total}, expected {expected} ({between} in eight of ten): {verdict}"
        lines.append(say(message, name=name, total=total, expected=expected, between=between, verdict=verdict))
    lines += [
        say("{name}: {before} before, {now} now", name=name, before=before, now=now)
        for name, before, now in tracked.outlook_cells(found)
    ]
    lines.append(tracked.reason(found))
    if tracked.price_words(found):
        lines.append(str(tracked.price_words(found)))
    for name, _, _, points in tracked.moved_cells(found) if tracked.moved_rows(found) else ():
        lines.append(say("  {name}: {points} points of the odds", name=name, points=points))
    moved = [row for row in found["inputs"] if abs(row["shift"]) >= tracked.LEAST_SHIFT][:3]
    for row in moved:
        name, before, now, between = tracked.input_cells(row)
        message = "{name}: {before} before, {now} now ({between} in eight of ten)"
        lines.append(say(message, name=name, before=before, now=now, between=between))
    lines.append(tracked.effective_words(found))
    return plain([*lines, *(say("note: {limit}", limit=limit) for limit in found["limits"])])


def replay_lines(found: Figures) -> list[str]:
    """Return the comparison of a run with its record in a few lines."""
    rows, count, rounded = found["differences"], found["figures"], found["rounding"]
    parts = {"scenario": found["scenario"], "exact": found["exact"], "count": count, "rounded": rounded}
    most = found["largest_relative_difference"]
    if found["same"] and not rounded:
        lines = [say("{scenario}: all {count} entries were reproduced exactly", **parts)]
    elif found["same"]:
        message = (
            "{scenario}: {exact} of {count} entries were reproduced exactly, {rounded} but for rounding (by at most {most} "
            "of the figure; {allowed} is allowed)"
        )
        lines = [
            say(message, most=f"{most:.1g}", allowed=f"{found['tolerance']:g}", **parts),
            "another version of a library, or another processor, sums in another order",
        ]
    else:
        message = (
            "{scenario}: {different} of {count} entries differ from the record, by up to {most} of the figure; {exact} were "
            "reproduced exactly, {rounded} but for rounding"
        )
        lines = [say(message, different=len(rows), most=f"{most:.2g}", **parts)]
        for row in rows[:MOST_DIFFERENCES]:
            lines.append(f"  {row['key']}: recorded {_recorded(row['recorded'])}, now {_recorded(row['again'])}")
        if len(rows) > MOST_DIFFERENCES:
            lines.append(say("  and {count} more", count=len(rows) - MOST_DIFFERENCES))
    changed = [
        f"{row['name']} {_recorded(row['recorded'])} then, {_recorded(row['again'])} now" for row in found["versions"]
    ]
    return [*lines, say("versions: {changes}", changes="; ".join(changed))] if changed else lines


def _recorded(value: object) -> str:
    text = "nothing" if value is None else str(value)
    text = text if len(text) <= 60 else f"{text[:57]}..."
    return "".join(char if char.isprintable() else " " for char in text)


def _truth(row: Figures) -> str:
    """Return in how many of the futures a claim is true."""
    chance = row["probability"]
    return "Not measured." if chance is None else say("True in {share} of futures.", share=percent(chance))


def _share(row: Figures) -> str:
    share = row["share_of_variance"]
    return percent(estimate(max(share["value"] or 0.0, 0.0), share["standard_error"]))


def _percents(shares: Sequence[float]) -> str:
    return " ".join(f"{100 * share:.0f}" for share in shares)
