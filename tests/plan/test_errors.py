from qc.errors import QcError
from qc.plan import PlanError, PlanFault

FAULT = PlanFault(3, "models[0].id", "is missing", "Add a line.")


def test_a_fault_reads_as_one_sentence_and_turns_into_plain_values():
    assert str(FAULT) == "line 3, models[0].id: is missing. Add a line."
    assert FAULT.to_dict() == {
        "line": 3,
        "field": "models[0].id",
        "problem": "is missing",
        "mend": "Add a line.",
    }


def test_the_error_lists_all_faults_under_the_file():
    error = PlanError("plan.yaml", [FAULT, FAULT])
    assert isinstance(error, QcError)
    assert error.faults == (FAULT, FAULT)
    assert str(error).splitlines() == ["plan.yaml: the plan has 2 faults.", f"  {FAULT}", f"  {FAULT}"]
