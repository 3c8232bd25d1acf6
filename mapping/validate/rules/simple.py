"""The invariants that only say which elements go together, as tables.

The published expressions of one form stand in one table; each row is the key, the paths, and the elements.
"""

from __future__ import annotations

from layette.mapping.validate.rules.registry import Node, Test, has, rule

AT_LEAST_ONE = """
obs-3  Observation.referenceRange                      low high text
pat-1  Patient.contact                                 name telecom address organization
org-1  Organization                                    identifier name
imm-1  Immunization.education                          documentType reference
imr-1  ImmunizationRecommendation.recommendation       vaccineCode targetDisease
con-1  Condition.stage                                 summary assessment
con-2  Condition.evidence                              code detail
app-1  Appointment.participant                         type actor
apr-1  AppointmentResponse                             participantType actor
cmp-1  Composition.section                             text entry section
bdl-5  Bundle.entry                                    resource request response
cpb-1  CapabilityStatement                             rest messaging document
cpb-2  CapabilityStatement                             description software implementation
tcp-2  TerminologyCapabilities                         description software implementation
exp-1  Expression                                      expression reference
vsd-1  ValueSet.compose.include                        valueSet system
vsd-6  ValueSet.expansion.contains                     code display
mad-1  MedicationAdministration.dosage                 dose rate[x]
ipn-1  InsurancePlan                                   identifier name
ppc-1  Consent                                         policy policyRule
opd-1  OperationDefinition.parameter                   type part
sdf-2  StructureDefinition.mapping                     name uri
sdf-6  StructureDefinition                             snapshot differential
eld-1  ElementDefinition.slicing                       discriminator description
"""
"""The object must have at least one of these."""

NEEDS = """
prr-1  ServiceRequest                  orderDetail    code
qty-3  Quantity                        code           system
qty-3  Age                             code           system
qty-3  Count                           code           system
qty-3  Distance                        code           system
qty-3  Duration                        code           system
att-1  Attachment                      data           contentType
cpt-2  ContactPoint                    value          system
tim-1  Timing.repeat                   duration       durationUnit
tim-2  Timing.repeat                   period         periodUnit
tim-6  Timing.repeat                   periodMax      period
tim-7  Timing.repeat                   durationMax    duration
tim-8  Timing.repeat                   countMax       count
gol-1  Goal.target                     detail[x]      measure
trd-2  TriggerDefinition               condition      data
vsd-2  ValueSet.compose.include        concept        system
vsd-2  ValueSet.compose.include        filter         system
vsd-10 ValueSet.expansion.contains     code           system
fhs-2  FamilyMemberHistory             estimatedAge   age[x]
spd-1  SearchParameter                 xpath          xpathUsage
smp-1  StructureMap.group.rule.target  element        context
smp-2  StructureMap.group.rule.target  context        contextType
eld-22 ElementDefinition               sliceIsConstraining sliceName
"""
"""The first element demands the second."""

NOT_BOTH = """
obs-6  Observation                     dataAbsentReason value[x]
cpl-3  CarePlan.activity               detail           reference
que-4  Questionnaire.item              answerOption     answerValueSet
que-11 Questionnaire.item              answerOption     initial
cmp-2  Composition.section             emptyReason      entry
lst-1  List                            emptyReason      entry
tim-10 Timing.repeat                   timeOfDay        when
qrs-1  QuestionnaireResponse.item      answer           item
trd-1  TriggerDefinition               data             timing[x]
vsd-3  ValueSet.compose.include        concept          filter
fhs-1  FamilyMemberHistory             age[x]           born[x]
sev-1  AuditEvent.entity               name             query
eld-8  ElementDefinition               pattern[x]       fixed[x]
eld-15 ElementDefinition               defaultValue[x]  meaningWhenMissing
"""
"""The two elements exclude each other."""

EXACTLY_ONE = """
ext-1  Extension                       extension        value[x]
rqg-1  RequestGroup.action             resource         action
drq-1  DataRequirement.codeFilter      path             searchParam
drq-2  DataRequirement.dateFilter      path             searchParam
ces-1  CoverageEligibilityResponse.insurance.item category productOrService
inv-1  TestReport.setup.action         operation        assert
inv-2  TestReport.test.action          operation        assert
tst-1  TestScript.setup.action         operation        assert
tst-2  TestScript.test.action          operation        assert
"""
"""One of the two, and not both."""

NAMES = """
que-0 Questionnaire, pdf-0 PlanDefinition, adf-0 ActivityDefinition, cpb-0 CapabilityStatement, lib-0 Library,
csd-0 CodeSystem, vsd-0 ValueSet, cmd-0 ConceptMap, evd-0 EventDefinition, mea-0 Measure, msd-0 MessageDefinition,
nsd-0 NamingSystem, opd-0 OperationDefinition, sdf-0 StructureDefinition, spd-0 SearchParameter,
smp-0 StructureMap, tcp-0 TerminologyCapabilities, gdf-0 GraphDefinition, ig-0 ImplementationGuide,
cpd-0 CompartmentDefinition, esc-0 ExampleScenario, evi-0 Evidence, evv-0 EvidenceVariable, tst-0 TestScript,
cid-0 ChargeItemDefinition, ees-0 EffectEvidenceSynthesis, rvs-0 RiskEvidenceSynthesis, rsd-0 ResearchDefinition,
red-0 ResearchElementDefinition
"""
"""The name should do as the name of a class: a capital letter, then letters, digits and underscores."""


def _at_least_one(names: list[str]) -> Test:
    def test(node: Node) -> str | None:
        if any(has(node, name) for name in names):
            return None
        return f"At least one of {_listed(names)} is due."

    return test


def _needs(given: str, needed: str) -> Test:
    def test(node: Node) -> str | None:
        if has(node, given) and not has(node, needed):
            return f"{given} is given without {needed}; give both."
        return None

    return test


def _not_both(one: str, other: str) -> Test:
    def test(node: Node) -> str | None:
        if has(node, one) and has(node, other):
            return f"{one} and {other} exclude each other; keep one."
        return None

    return test


def _exactly_one(one: str, other: str) -> Test:
    def test(node: Node) -> str | None:
        if has(node, one) != has(node, other):
            return None
        return f"Exactly one of {one} and {other} is due."

    return test


def _name(node: Node) -> str | None:
    name = node.get("name")
    if not isinstance(name, str) or (name[:1].isupper() and name.replace("_", "a").isalnum() and name.isascii()):
        return None if not isinstance(name, str) or len(name) <= 255 else "This name should have at most 255 letters."
    return "This name should begin with a capital letter and hold letters, digits and underscores only."


def _listed(names: list[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _register() -> None:
    for line in AT_LEAST_ONE.strip().splitlines():
        key, path, *names = line.split()
        rule(key, path)(_at_least_one(names))
    for table, build in ((NEEDS, _needs), (NOT_BOTH, _not_both), (EXACTLY_ONE, _exactly_one)):
        for line in table.strip().splitlines():
            key, path, first, second = line.split()
            rule(key, path, at=first.partition("[")[0] if table is NEEDS and "[" not in first else "")(
                build(first, second)
            )
    for pair in NAMES.replace("\n", " ").split(","):
        key, path = pair.split()
        rule(key, path, at="name", severity="warning")(_name)


_register()
