"""``python -m qc``: the same as the ``qc`` command."""

from qc.cli.main import run

if __name__ == "__main__":
    run()
