"""Ask a command inside this process, as a person would."""

from types import SimpleNamespace

import pytest

from qc.cli.main import main
from qc.jobs.workshop import open_workshop


@pytest.fixture
def command(capsys):
    """Run the words of a command and give `exit_code`, `stdout`, `stderr`, and `output`, which is both."""

    def run(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return SimpleNamespace(exit_code=code, stdout=out, stderr=err, output=out + err)

    return run


@pytest.fixture
def shop(demo_copy):
    """Open a copy of the sample workshop, to write into."""
    workshop = open_workshop(demo_copy)
    yield workshop
    workshop.store.close()
