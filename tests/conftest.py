"""What every run of the tests shares: hypothesis profiles, and the processor time that each test takes.

A user's run is quick; CI looks longer in a run of its own, which is the same every time. With `--processor-time` a run lists
the tests that take most, the programs they start included: on a machine that others use too it says more than the clock.
"""

import os
import sys
from collections import defaultdict
from pathlib import Path

import pytest

# Hundreds of commands load this package. They find it compiled by this process, and keep nothing that they compile: where
# files may not grow, as some tests have it, half a file would stay.
sys.dont_write_bytecode = False
os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
# As they have entry points of pytest, all their modules would be compiled anew for the sake of a few `assert`s.
for finder in sys.meta_path:
    getattr(finder, "_must_rewrite", set()).difference_update({"hypothesis", "packetcodec"})

from hypothesis import HealthCheck, settings  # noqa: E402
from xdist.scheduler import LoadScopeScheduling  # noqa: E402

settings.register_profile("quick", max_examples=25, deadline=None)
settings.register_profile(
    "ci", max_examples=300, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))


class ByFile(LoadScopeScheduling):
    """The tests of a file run in one worker, so what they share is built once; so do all of arrays, which compile alike."""

    def _split_scope(self, nodeid):
        file = nodeid.partition("::")[0]
        return "arrays" if "arrays" in file.split("/") else file


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    return ByFile(config, log)


ROOT = Path(__file__).parents[1]
#: What needs libraries of the extra "dev": several hundred megabytes, and the kernels of the columns are compiled at their
#: first use, which takes a processor about a minute. All of it is slow, and a quick run does not even import it.
HEAVY = frozenset(
    path
    for pattern in (
        "packetcodec/arrays/**/*.py", "tests/arrays/*.py", "tests/support/columns.py",
        "packetcodec/page/[cdtv]*.py", "packetcodec/cli/tables/page_*.py", "tests/page/test_charts.py",
    )
    for path in ROOT.glob(pattern)
)  # fmt: skip


class Heavy:
    """A plugin, since the hooks of a conftest.py itself are asked about its own folder alone."""

    @pytest.hookimpl(tryfirst=True)
    def pytest_ignore_collect(self, collection_path, config):
        asked = "slow" in config.option.markexpr.replace("not slow", "")
        return True if "not slow" in config.option.markexpr and not asked and collection_path in HEAVY else None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    for item in items:
        if item.path in HEAVY:
            item.add_marker("slow")


def pytest_configure(config):
    config.pluginmanager.register(Heavy())


def pytest_addoption(parser):
    parser.addoption("--processor-time", type=int, metavar="N", help="list the N tests that took most processor seconds")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_protocol(item):
    item.user_properties.append(("begun", sum(os.times()[:4])))
    yield


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    yield
    if call.when == "call":
        begun = dict(item.user_properties)["begun"]
        item.user_properties.append(("processor seconds", sum(os.times()[:4]) - begun))


def pytest_terminal_summary(terminalreporter, config):
    count = config.getoption("--processor-time")
    if not count:
        return
    taken = {}
    for report in (report for reports in terminalreporter.stats.values() for report in reports):
        if getattr(report, "when", "") == "teardown" or "processor seconds" in dict(getattr(report, "user_properties", ())):
            taken[report.nodeid] = dict(report.user_properties).get("processor seconds", 0.0)
    folders = defaultdict(float)
    for name, seconds in taken.items():
        folders["/".join(name.split("::")[0].split("/")[:2])] += seconds
    terminalreporter.section(f"processor seconds: {sum(taken.values()):.0f} in {len(taken)} tests")
    for name, seconds in [*sorted(folders.items()), *sorted(taken.items(), key=lambda pair: -pair[1])[:count]]:
        terminalreporter.line(f"{seconds:8.2f} {name}")
