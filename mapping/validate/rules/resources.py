"""The invariants of single resources that take more than the presence of elements."""

from __future__ import annotations

from layette.mapping.validate.rules.registry import Node, coded, has, number, objects, rule, string, strings
from layette.mapping.validate.rules.times import surely_after

_TERMS = "http://terminology.hl7.org/CodeSystem/"


@rule("obs-7", "Observation")
def obs_7(node: Node) -> str | None:
    """A component that repeats the code of the whole would give the value twice."""
    if "component" not in node or not has(node, "value[x]"):
        return None
    whole = {_pair(coding) for concept in objects(node, "code") for coding in objects(concept, "coding")}
    for component in objects(node, "component"):
        for concept in objects(component, "code"):
            if whole.intersection(_pair(coding) for coding in objects(concept, "coding")):
                return "A component has the code of the whole, which has a value; give the value once."
    return None


def _pair(coding: Node) -> tuple[str, ...]:
    return tuple(str(coding.get(name, "")) for name in ("system", "version", "code", "display", "userSelected"))


@rule("inv-1", "Task", at="lastModified")
def task_inv_1(node: Node) -> str | None:
    """A task is modified after it is authored."""
    if surely_after(node.get("authoredOn"), node.get("lastModified")):
        return "The task is said to be modified before it was authored; lastModified must be the later."
    return None


@rule("mdd-1", "MedicationDispense", at="whenHandedOver")
def mdd_1(node: Node) -> str | None:
    """Nothing is handed over before it is prepared."""
    if surely_after(node.get("whenPrepared"), node.get("whenHandedOver")):
        return "The medication is handed over before it is prepared; whenHandedOver must be the later."
    return None


@rule("con-3", "Condition", at="clinicalStatus", severity="warning")
def con_3(node: Node) -> str | None:
    """An item of the problem list says whether it is active."""
    if has(node, "clinicalStatus") or coded(node, "verificationStatus", _VERIFIED, "entered-in-error"):
        return None
    if coded(node, "category", _TERMS + "condition-category", "problem-list-item"):
        return "A problem-list item should have a clinicalStatus."
    return None


_VERIFIED = _TERMS + "condition-ver-status"


@rule("con-4", "Condition", at="clinicalStatus")
def con_4(node: Node) -> str | None:
    """What has abated is not active."""
    if has(node, "abatement[x]") and not coded(
        node, "clinicalStatus", _TERMS + "condition-clinical", "resolved", "remission", "inactive"
    ):
        return "A condition that has abated has clinicalStatus resolved, remission or inactive."
    return None


@rule("con-5", "Condition", at="clinicalStatus")
def con_5(node: Node) -> str | None:
    """What was entered in error has no course."""
    if has(node, "clinicalStatus") and coded(node, "verificationStatus", _VERIFIED, "entered-in-error"):
        return "A condition entered in error has no clinicalStatus; leave it out."
    return None


_ALLERGY = _TERMS + "allergyintolerance-verification"


@rule("ait-1", "AllergyIntolerance", at="clinicalStatus")
def ait_1(node: Node) -> str | None:
    """An allergy says whether it is active."""
    if has(node, "clinicalStatus") or coded(node, "verificationStatus", _ALLERGY, "entered-in-error"):
        return None
    return "An allergy needs a clinicalStatus unless it was entered in error."


@rule("ait-2", "AllergyIntolerance", at="clinicalStatus")
def ait_2(node: Node) -> str | None:
    """What was entered in error has no course."""
    if has(node, "clinicalStatus") and coded(node, "verificationStatus", _ALLERGY, "entered-in-error"):
        return "An allergy entered in error has no clinicalStatus; leave it out."
    return None


@rule("org-2", "Organization", at="address")
def org_2(node: Node) -> str | None:
    """An organization has no home."""
    if any(address.get("use") == "home" for address in objects(node, "address")):
        return "The address of an organization is never of use home; work is usual."
    return None


@rule("org-3", "Organization", at="telecom")
def org_3(node: Node) -> str | None:
    """An organization has no home."""
    if any(contact.get("use") == "home" for contact in objects(node, "telecom")):
        return "The telecom of an organization is never of use home; work is usual."
    return None


@rule("app-2", "Appointment")
def app_2(node: Node) -> str | None:
    """Start and end come together."""
    return "Give both start and end, or neither." if has(node, "start") != has(node, "end") else None


@rule("app-3", "Appointment", at="start")
def app_3(node: Node) -> str | None:
    """Only what is not yet fixed, or off, has no time."""
    if (has(node, "start") and has(node, "end")) or string(node, "status") in {"proposed", "cancelled", "waitlist"}:
        return None
    return "An appointment without start and end is proposed, cancelled or waitlist."


@rule("app-4", "Appointment", at="cancelationReason")
def app_4(node: Node) -> str | None:
    """A reason for cancelling belongs to what did not take place; R4's text says no-show, its value set noshow."""
    if has(node, "cancelationReason") and string(node, "status") not in {"no-show", "noshow", "cancelled"}:
        return "cancelationReason is for an appointment that is cancelled or noshow."
    return None


@rule("lst-2", "List", at="entry")
def lst_2(node: Node) -> str | None:
    """Only a list of changes says what was taken out."""
    if string(node, "mode") != "changes" and any(has(entry, "deleted") for entry in objects(node, "entry")):
        return "entry.deleted is for a list of mode changes."
    return None


@rule("lst-3", "List", at="entry")
def lst_3(node: Node) -> str | None:
    """Only a working list dates its entries."""
    if string(node, "mode") != "working" and any(has(entry, "date") for entry in objects(node, "entry")):
        return "entry.date is for a list of mode working."
    return None


@rule("inv-1", "Parameters.parameter")
def parameters_inv_1(node: Node) -> str | None:
    """A parameter is a value, a resource, or parts."""
    given = [has(node, "part"), has(node, "value[x]"), has(node, "resource")]
    return "Exactly one of part, value[x] and resource is due." if sum(given) != 1 else None


@rule("grp-1", "Group", at="member")
def grp_1(node: Node) -> str | None:
    """Only a group of real things has members."""
    return "A group with members is actual." if has(node, "member") and node.get("actual") is not True else None


@rule("lnk-1", "Linkage", at="item")
def lnk_1(node: Node) -> str | None:
    """A link joins at least two."""
    return "A linkage has at least two items." if sum(1 for _ in objects(node, "item")) < 2 else None


@rule("mrp-1", "MeasureReport", at="group")
def mrp_1(node: Node) -> str | None:
    """Data collection has no results yet."""
    if string(node, "type") == "data-collection" and has(node, "group"):
        return "A report of type data-collection has no group."
    return None


@rule("ras-2", "RiskAssessment.prediction", at="probabilityDecimal")
def ras_2(node: Node) -> str | None:
    """A probability is at most 100 percent."""
    value = number(node, "probabilityDecimal")
    return "A probability is at most 100." if value is not None and value > 100 else None


@rule("opd-2", "OperationDefinition.parameter", at="searchType")
def opd_2(node: Node) -> str | None:
    """Search types are for strings."""
    return "searchType needs type string." if has(node, "searchType") and string(node, "type") != "string" else None


@rule("nsd-1", "NamingSystem", at="uniqueId")
def nsd_1(node: Node) -> str | None:
    """A root is never a uuid."""
    if string(node, "kind") == "root" and any(one.get("type") == "uuid" for one in objects(node, "uniqueId")):
        return "A naming system of kind root has no uniqueId of type uuid."
    return None


@rule("nor-1", "NutritionOrder", severity="warning")
def nor_1(node: Node) -> str | None:
    """An order for food names some."""
    if any(has(node, name) for name in ("oralDiet", "supplement", "enteralFormula")):
        return None
    return "At least one of oralDiet, supplement and enteralFormula should be given."


@rule("spd-2", "SearchParameter", at="chain")
def spd_2(node: Node) -> str | None:
    """Only references chain."""
    return "chain needs type reference." if any(strings(node, "chain")) and node.get("type") != "reference" else None
