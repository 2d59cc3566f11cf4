"""A model as DMN 1.5 XML: same model, same bytes."""

from lxml import etree

from triage.rulebook_care.dmn.rows import xml_text
from triage.rulebook_care.dmn.table import DMN_15, EXTENSION, ItemType, Model, Table

_SPACES = {None: DMN_15, "bw": EXTENSION}


def write_model(model: Model) -> bytes:
    """UTF-8 with an XML declaration; elements stand in the order of the standard's schema."""
    root = etree.Element(_dmn("definitions"), nsmap=_SPACES)  # type: ignore[arg-type]
    for name, value in (
        ("id", "definitions"),
        ("name", model.title),
        ("namespace", f"{EXTENSION}:tables"),
        ("exporter", "Barrelwise"),
    ):
        root.set(name, xml_text(value))
    extensions = _add(root, "extensionElements")
    etree.SubElement(extensions, _own("rulebook"), version=model.version)
    for type_ in model.types:
        _item(root, type_)
    for fact, type_ref in model.data.items():
        data = _add(root, "inputData", id=f"data.{fact}", name=fact)
        _add(data, "variable", id=f"data.{fact}.variable", name=fact, typeRef=type_ref)
    for table in model.tables:
        _decision(root, table, model.needs.get(table.id, ()))
    etree.indent(root)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8") + b"\n"


def _item(root: etree._Element, type_: ItemType) -> None:
    item = _add(root, "itemDefinition", id=f"type.{type_.name}", name=type_.name)
    if type_.is_list:
        item.set("isCollection", "true")
    if type_.base is not None:
        _add(item, "typeRef").text = type_.base
    if type_.allowed is not None:
        _text(_add(item, "allowedValues", id=f"type.{type_.name}.values"), type_.allowed)
    for name, type_ref in type_.parts:
        part = _add(item, "itemComponent", id=f"type.{type_.name}.{name}", name=name)
        _add(part, "typeRef").text = type_ref


def _decision(root: etree._Element, table: Table, needs: tuple[str, ...]) -> None:
    decision = _add(root, "decision", id=table.id, name=table.name, label=table.label)
    _add(decision, "description").text = xml_text(table.description)
    if table.files:
        extensions = _add(decision, "extensionElements")
        for path, content in table.files.items():
            etree.SubElement(extensions, _own("file"), path=path).text = content
    type_ref = table.outputs[0].type_ref if len(table.outputs) == 1 else f"result_{table.name}"
    _add(decision, "variable", id=f"{table.id}.variable", name=table.name, typeRef=type_ref)
    for fact in needs:
        requirement = _add(decision, "informationRequirement", id=f"{table.id}.needs.{fact}")
        _add(requirement, "requiredInput", href=f"#data.{fact}")
    body = _add(decision, "decisionTable", id=f"{table.id}.table", hitPolicy=table.hit_policy)
    if table.aggregation is not None:
        body.set("aggregation", table.aggregation)
    body.set("outputLabel", xml_text(table.label))
    _columns(body, table)
    for rule in table.rules:
        row = _add(body, "rule", id=rule.id)
        for number, text in enumerate(rule.tests, 1):
            _text(_add(row, "inputEntry", id=f"{rule.id}.in.{number}"), text)
        for number, text in enumerate(rule.values, 1):
            _text(_add(row, "outputEntry", id=f"{rule.id}.out.{number}"), text)
        for name in table.notes:
            _text(_add(row, "annotationEntry"), rule.notes.get(name, ""))


def _columns(body: etree._Element, table: Table) -> None:
    for number, one in enumerate(table.inputs, 1):
        place = f"{table.id}.in.{number}"
        column = _add(body, "input", id=place)
        _text(_add(column, "inputExpression", id=f"{place}.expression", typeRef=one.type_ref), one.expression)
        if one.values is not None:
            _text(_add(column, "inputValues", id=f"{place}.values"), one.values)
    for number, output in enumerate(table.outputs, 1):
        place = f"{table.id}.out.{number}"
        column = _add(body, "output", id=place, name=output.name, typeRef=output.type_ref)
        if output.values is not None:
            _text(_add(column, "outputValues", id=f"{place}.values"), output.values)
    for name in table.notes:
        _add(body, "annotation", name=name)


def _dmn(name: str) -> str:
    return f"{{{DMN_15}}}{name}"


def _own(name: str) -> str:
    return f"{{{EXTENSION}}}{name}"


def _add(parent: etree._Element, kind: str, /, **attributes: str) -> etree._Element:
    return etree.SubElement(parent, _dmn(kind), {key: xml_text(value) for key, value in attributes.items()})


def _text(parent: etree._Element, text: str) -> None:
    _add(parent, "text").text = xml_text(text)
