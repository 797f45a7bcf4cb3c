"""`rebuild`: all rolling figures of many series from their arrays, beside pandas and polars."""

import cProfile
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import polars as pl
from scipy import stats

from analytics.core import rolling, rolling_run_up
from analytics.core.conventions import BOARD_WIDTH_M, DEFAULT_AIM_M
from analytics.core.rolling import DEFAULT_MIN_VALID, DEFAULT_WINDOW
from tests.bench import profiling
from tests.bench.options import RebuildOptions
from tests.bench.outcome import Outcome, Target
from tests.bench.readings import FOOTFALLS, GATES_AT_M, SEED
from tests.bench.rounds import Spread, interleave, rates, times_as_fast
from tests.bench.stand import Stand

LEVEL = 0.95
PER_REVISION = 500
MISSING = 0.05
Figures = dict[str, npt.NDArray[Any]]


@dataclass(frozen=True)
class Season:
    """The attempts of one series, as the database holds them."""

    toe_m: npt.NDArray[np.float64]
    touchdown_s: npt.NDArray[np.float64]
    no_jump: npt.NDArray[np.bool_]
    gate_at_m: npt.NDArray[np.float64]
    gate_time_s: npt.NDArray[np.float64]
    revision: npt.NDArray[np.int64]


def measure(stand: Stand, options: RebuildOptions) -> Outcome:
    del stand  # arithmetic only: nothing is stored
    seasons = [_invent(number, options.attempts) for number in range(options.series)]
    in_all = options.series * options.attempts
    works = (_by_penult, _by_pandas, _toe_alone, _toe_by_polars, _toe_uncut, _toe_uncut_by_polars)
    for work in works:  # what is made once, such as tables of t
        work(seasons[0])
    means_s: list[float] = []
    seconds = interleave(
        {
            "penult": lambda _: _discard(_by_penult, seasons),
            "pandas": lambda _: means_s.append(_time_means_of_pandas(seasons)),
            "toe_alone": lambda _: _discard(_toe_alone, seasons),
            "toe_alone_by_polars": lambda _: _discard(_toe_by_polars, seasons),
            "toe_uncut": lambda _: _discard(_toe_uncut, seasons),
            "toe_uncut_by_polars": lambda _: _discard(_toe_uncut_by_polars, seasons),
        },
        rounds=options.rounds,
        warm_up=0,
        # All of them compute in this process and wait for nothing: what the processor spent is what
        # it takes, whoever else wants the machine.
        clock=time.process_time,
    )
    seconds["pandas_without_intervals"] = means_s
    apart = max(_apart(_by_penult(each), _by_pandas(each)) for each in seasons)
    hard = _hard_values(options.attempts)
    sd_apart = _apart_from_two_passes(rolling.rolling_means(hard).sd, hard)
    polars_sd_apart = _apart_from_two_passes(_sd_by_polars(hard), hard)
    if options.profile:
        profile = cProfile.Profile()
        profile.runcall(_discard, _by_penult, seasons)
        profiling.show(profile, title="All series once", stream=sys.stderr)

    def times_pandas(name: str) -> Spread:
        return times_as_fast(seconds["penult"], seconds[name], count=in_all, other_count=in_all)

    def times_polars(name: str) -> Spread:
        return times_as_fast(
            seconds[name], seconds[f"{name}_by_polars"], count=in_all, other_count=in_all
        )

    return Outcome(
        name="rebuild",
        figures={
            "what": "all rolling figures of points, from arrays in memory",
            "series": options.series,
            "attempts": in_all,
            "footfalls": FOOTFALLS,
            "columns": len(_by_penult(seasons[0])),
            "seconds": Spread.of(seconds["penult"]),
            "attempts_per_s": rates(seconds["penult"], count=in_all),
            "apart_from_pandas": apart,
            "sd_apart_from_two_passes": sd_apart,
        },
        peer={
            "what": "plain pandas: groupby, rolling, intervals by SciPy over whole columns",
            "seconds": Spread.of(seconds["pandas"]),
            "attempts_per_s": rates(seconds["pandas"], count=in_all),
            "without_intervals_seconds": Spread.of(seconds["pandas_without_intervals"]),
            "polars_what": "mean and SD of the toe alone by polars, no intervals",
            "polars_seconds": Spread.of(seconds["toe_alone_by_polars"]),
            "polars_uncut_seconds": Spread.of(seconds["toe_uncut_by_polars"]),
            "polars_sd_apart_from_two_passes": polars_sd_apart,
        },
        limit={
            "what": "mean and SD of the toe alone, by Penult",
            "seconds": Spread.of(seconds["toe_alone"]),
            "uncut_seconds": Spread.of(seconds["toe_uncut"]),
        },
        ratios={
            "to_pandas": times_pandas("pandas"),
            "to_pandas_without_intervals": times_pandas("pandas_without_intervals"),
            "to_toe_alone": times_pandas("toe_alone"),
            "toe_alone_to_polars": times_polars("toe_alone"),
            "toe_uncut_to_polars": times_polars("toe_uncut"),
        },
        targets={
            "to_pandas": Target(times_pandas("pandas").median, at_least=5.0),
            "apart_from_pandas": Target(apart, at_most=1e-12),
            "sd_apart_from_two_passes": Target(sd_apart, at_most=1e-12),
            "toe_alone_to_polars": Target(times_polars("toe_alone").median, at_least=1.0),
        },
    )


def _invent(number: int, attempts: int) -> Season:
    """Return attempts with gaps, as gates and cameras leave them."""
    rng = np.random.default_rng([SEED, number])
    steps = rng.normal(2.1, 0.05, (attempts, FOOTFALLS - 1))
    first = rng.normal(0.06, 0.08, (attempts, 1))
    toe = np.concatenate([first, steps], axis=1).cumsum(axis=1)
    speed = rng.normal(9.0, 0.2, (attempts, 1))
    touchdown = 5.3 - (toe - first) / speed
    at = np.tile(GATES_AT_M, (attempts, 1))
    passed = (5.3 - (at - first) / speed + rng.normal(0, 0.003, at.shape)).round(4)
    no_jump = toe[:, 0] < 0
    # Most of the toes that nobody measured are those of no jumps.
    toe[rng.random(attempts) < np.where(no_jump, 0.5, MISSING), 0] = np.nan
    toe[rng.random(attempts) < MISSING, 3] = np.nan
    touchdown[rng.random(attempts) < MISSING] = np.nan
    passed[rng.random(attempts) < MISSING] = np.nan
    return Season(toe, touchdown, no_jump, at, passed, np.arange(attempts) // PER_REVISION)


def _discard(work: Callable[[Season], object], seasons: Sequence[Season]) -> None:
    for season in seasons:
        work(season)


def _by_penult(season: Season) -> Figures:
    board = rolling.rolling_figures(
        season.toe_m[:, 0], season.no_jump, aim_m=DEFAULT_AIM_M, revision=season.revision
    )
    run_up = rolling_run_up.rolling_run_up(
        season.toe_m,
        season.touchdown_s,
        season.gate_at_m,
        season.gate_time_s,
        revision=season.revision,
    )
    return {
        field.name: getattr(each, field.name) for each in (board, run_up) for field in fields(each)
    }


def _toe_alone(season: Season) -> None:
    rolling.rolling_means(season.toe_m[:, 0], revision=season.revision)


def _toe_by_polars(season: Season) -> pl.DataFrame:
    frame = pl.DataFrame({"toe": season.toe_m[:, 0], "revision": season.revision})
    return frame.select(each.over("revision") for each in _rolled_by_polars())


def _toe_uncut(season: Season) -> None:
    rolling.rolling_means(season.toe_m[:, 0])


def _toe_uncut_by_polars(season: Season) -> pl.DataFrame:
    return pl.DataFrame({"toe": season.toe_m[:, 0]}).select(_rolled_by_polars())


def _rolled_by_polars() -> list[pl.Expr]:
    # NaN is a number to polars; missing is null.
    toe = pl.col("toe").fill_nan(None)
    return [
        toe.rolling_mean(DEFAULT_WINDOW, min_samples=DEFAULT_MIN_VALID).alias("mean"),
        toe.rolling_std(DEFAULT_WINDOW, min_samples=DEFAULT_MIN_VALID).alias("sd"),
    ]


def _sd_by_polars(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    rolled = pl.DataFrame({"toe": values}).select(_rolled_by_polars())
    return np.asarray(rolled["sd"].to_numpy(), dtype=np.float64)


def _by_pandas(season: Season) -> Figures:
    return _with_intervals(_means_by_pandas(season))


def _time_means_of_pandas(seasons: Sequence[Season]) -> float:
    """Let pandas make all figures, and return the seconds before their intervals."""
    means_s = 0.0
    for season in seasons:
        began = time.process_time()
        found = _means_by_pandas(season)
        means_s += time.process_time() - began
        _with_intervals(found)
    return means_s


def _means_by_pandas(season: Season) -> Figures:
    """Return counts, means and SDs as a script would: columns of a frame, grouped and rolled."""
    toe, down = pd.DataFrame(season.toe_m), pd.DataFrame(season.touchdown_s)
    gate = pd.DataFrame(season.gate_time_s, columns=season.gate_at_m[0])
    first, second = 5 / (gate[6.0] - gate[11.0]), 5 / (gate[1.0] - gate[6.0])
    length = {step: toe[step] - toe[step - 1] for step in (1, 2, 3)}
    took = {step: down[step - 1] - down[step] for step in (1, 2, 3)}
    gone = season.no_jump | (toe[0] < 0)
    values = pd.DataFrame(
        {
            "bias_m": toe[0] - DEFAULT_AIM_M,
            "speed_11_6_mps": first.where(second.notna()),
            "speed_6_1_mps": second.where(first.notna()),
            "speed_gain_mps": second - first,
            "length_ratio_2": (length[2] / length[3]).where(length[1].notna()),
            "length_ratio_1": (length[1] / length[3]).where(length[2].notna()),
            "time_ratio_2": (took[2] / took[3]).where(took[1].notna()),
            "time_ratio_1": (took[1] / took[3]).where(took[2].notna()),
        }
    )
    flags = pd.DataFrame(
        {
            "n": np.ones(len(toe)),
            "n_measured": toe[0].notna(),
            "n_no_jumps": gone,
            "n_on_board": toe[0].between(0, BOARD_WIDTH_M),
            "n_known": toe[0].notna() | gone,
            "n_speeds": values["speed_gain_mps"].notna(),
            "n_step_lengths": values["length_ratio_2"].notna(),
            "n_step_times": values["time_ratio_2"].notna(),
        }
    ).astype(float)
    windows = values.groupby(season.revision).rolling(DEFAULT_WINDOW, min_periods=DEFAULT_MIN_VALID)
    counts = flags.groupby(season.revision).rolling(DEFAULT_WINDOW, min_periods=1).sum()
    found = {name: counts[name].to_numpy() for name in flags}
    mean, sd = windows.mean(), windows.std()
    for name in values:
        found[name] = mean[name].to_numpy()
        found[f"{name}_sd"] = sd[name].to_numpy()
    return found


def _with_intervals(found: Figures) -> Figures:
    tail = (1 - LEVEL) / 2
    figures = {name: each for name, each in found.items() if name.startswith("n_") or name == "n"}
    n, n_known = found["n"], figures.pop("n_known")
    # Gates stand at the ends of the zones in all of these run-ups.
    figures["n_speeds_at_gates"] = found["n_speeds"]

    def add_mean(name: str, count: npt.NDArray[Any], *, interval: bool = True) -> None:
        figures[name] = found[name]
        if interval:
            half = stats.t.isf(tail, count - 1) * found[f"{name}_sd"] / np.sqrt(count)
            unit = next((each for each in ("_mps", "_m") if name.endswith(each)), "")
            stem = name.removesuffix(unit)
            figures[f"{stem}_low{unit}"] = found[name] - half
            figures[f"{stem}_high{unit}"] = found[name] + half

    def add_share(name: str, hits: npt.NDArray[Any], count: npt.NDArray[Any]) -> None:
        z = stats.norm.isf(tail)
        share = np.where(count >= DEFAULT_MIN_VALID, hits / count, np.nan)
        middle = share + z**2 / (2 * count)
        half = z * np.sqrt(share * (1 - share) / count + z**2 / (4 * count**2))
        figures[name] = share
        figures[f"{name}_low"] = (middle - half) / (1 + z**2 / count)
        figures[f"{name}_high"] = (middle + half) / (1 + z**2 / count)

    with np.errstate(divide="ignore", invalid="ignore"):
        measured = found["n_measured"]
        add_mean("bias_m", measured)
        sd = found["bias_m_sd"]
        figures["sd_m"] = sd
        figures["sd_low_m"] = sd * np.sqrt((measured - 1) / stats.chi2.isf(tail, measured - 1))
        figures["sd_high_m"] = sd * np.sqrt((measured - 1) / stats.chi2.ppf(tail, measured - 1))
        add_share("share_on_board", found["n_on_board"], n_known)
        add_share("share_no_jump", found["n_no_jumps"], n)
        add_mean("speed_11_6_mps", found["n_speeds"], interval=False)
        for name in ("speed_6_1_mps", "speed_gain_mps"):
            add_mean(name, found["n_speeds"])
        for name in ("length_ratio_2", "length_ratio_1"):
            add_mean(name, found["n_step_lengths"])
            figures[f"{name}_sd"] = found[f"{name}_sd"]
        for name in ("time_ratio_2", "time_ratio_1"):
            add_mean(name, found["n_step_times"])
    return figures


def _apart(ours: Figures, theirs: Figures) -> float:
    """Return the largest difference of any figure; infinite where only one of the two has it."""
    if ours.keys() != theirs.keys():
        raise RuntimeError(f"Not the same figures: {sorted(ours.keys() ^ theirs.keys())}")
    apart = 0.0
    for name, mine in ours.items():
        other = theirs[name]
        if not np.array_equal(np.isnan(mine), np.isnan(other)):
            return float("inf")
        apart = max(apart, float(np.nanmax(np.abs(mine - other), initial=0.0)))
    return apart


def _hard_values(attempts: int) -> npt.NDArray[np.float64]:
    """Return values like those of NIST StRD NumAcc4, with gaps and outliers.

    Pairs lie 0.1 below and above 10,000,000.2.
    """
    rng = np.random.default_rng(SEED)
    values = np.where(np.arange(attempts) % 2, 10_000_000.3, 10_000_000.1)
    values[rng.random(attempts) < MISSING] = np.nan
    values[rng.random(attempts) < 0.002] = 1e9
    return values


def _apart_from_two_passes(sd: npt.NDArray[np.float64], values: npt.NDArray[np.float64]) -> float:
    """Return the largest relative difference of a rolling SD from one of two passes.

    The passes are of each window by itself, in extended precision.
    """
    lead = np.full(DEFAULT_WINDOW - 1, np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(
        np.concatenate([lead, values]), DEFAULT_WINDOW
    ).astype(np.longdouble)
    present = ~np.isnan(windows)
    n = present.sum(axis=1)
    held = np.where(present, windows, 0)
    centre = held.sum(axis=1) / np.maximum(n, 1)
    left = np.where(present, windows - centre[:, np.newaxis], 0)
    squares = (left**2).sum(axis=1) - left.sum(axis=1) ** 2 / np.maximum(n, 1)
    two_passes = np.sqrt(squares / np.maximum(n - 1, 1))
    enough = n >= DEFAULT_MIN_VALID
    if not np.array_equal(enough, ~np.isnan(sd)):
        return float("inf")
    return float(np.max(np.abs(sd[enough] / two_passes[enough] - 1)))
