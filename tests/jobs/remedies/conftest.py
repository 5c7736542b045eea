"""Run a remedy command as a person would, inside this process."""

import json

import pytest


@pytest.fixture
def run(command):
    """Give exit code, stdout and stderr."""

    def call(*words):
        found = command(*words)
        return found.exit_code, found.stdout, found.stderr

    return call


@pytest.fixture
def answer(run):
    """Give the JSON of a command that must succeed: one strict object and nothing else on stdout."""

    def refuse(word):
        raise AssertionError(f"{word} is not strict JSON")

    def call(*words):
        code, out, err = run(*words, "--json")
        assert (code, err) == (0, ""), err
        return json.loads(out, parse_constant=refuse)

    return call


@pytest.fixture
def fault(run):
    """Give the one line on stderr of a command that must fail."""

    def call(*words, code=1):
        got, out, err = run(*words, "--json")
        assert got == code, (got, err)
        assert out == ""
        assert err.count("\n") == 1 and "Traceback" not in err
        return err

    return call


@pytest.fixture
def write(tmp_path):
    """Write a file and give its path."""

    def make(name, text, encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return path

    return make
