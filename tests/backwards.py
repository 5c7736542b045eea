"""Plugin that runs tests last first: `PYTHONPATH=tests python -m pytest -p backwards FILE`.

With `--drawing` it runs only those that draw, by the fixture `rng`.
"""


def pytest_addoption(parser):
    parser.addoption("--drawing", action="store_true", help="run only the tests that take the fixture `rng`")


def pytest_collection_modifyitems(config, items):
    if config.getoption("--drawing"):
        items[:] = [item for item in items if "rng" in item.fixturenames]
    items.reverse()
