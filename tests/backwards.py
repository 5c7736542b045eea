"""Plugin that runs tests last first: `PYTHONPATH=tests python -m pytest -p backwards FILE`."""


def pytest_collection_modifyitems(items):
    items.reverse()
