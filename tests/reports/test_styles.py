from xml.etree import ElementTree as xml

import pandas as pd
import pytest

from estate.store import result_layers
from layers.contract import LAYERS, OBSTACLE_KINDS, PLACE_KINDS
from layers.errors import SettingError
from reports.palette import CLASS_MARKS, DECISION_STYLES, LINE_STYLES, PLACE_MARKS, task_style
from reports.styles import OGC, SE, SLD, STYLED_LAYERS, layer_style, write_styles
from tests.reports.small_plan import small_plan

SPACES = {"sld": SLD, "se": SE, "ogc": OGC}

# The order of children in Symbology Encoding 1.1.0 (OGC 05-077r4), from memory.
ORDER = {
    "Rule": ["Name", "Description", "LegendGraphic", "Filter", "ElseFilter",
             "MinScaleDenominator", "MaxScaleDenominator", "PointSymbolizer", "LineSymbolizer",
             "PolygonSymbolizer", "TextSymbolizer"],
    "Graphic": ["ExternalGraphic", "Mark", "Opacity", "Size", "Rotation", "AnchorPoint",
                "Displacement"],
    "Mark": ["WellKnownName", "OnlineResource", "InlineContent", "Format", "MarkIndex", "Fill",
             "Stroke"],
    "GraphicStroke": ["Graphic", "InitialGap", "Gap"],
    "TextSymbolizer": ["Name", "Description", "Geometry", "Label", "Font", "LabelPlacement",
                       "Halo", "Fill"],
    "PolygonSymbolizer": ["Name", "Description", "Geometry", "Fill", "Stroke", "Displacement"],
}  # fmt: skip
NAMED_SHAPES = {"square", "circle", "triangle", "star", "cross", "x"}


def read(layer, **more):
    return xml.fromstring(layer_style(layer, **more).encode("utf-8"))


def rules(layer, **more):
    return {rule.findtext("se:Name", namespaces=SPACES): rule
            for rule in read(layer, **more).iterfind(".//se:Rule", SPACES)}  # fmt: skip


def plain(element):
    return element.tag.split("}")[1]


@pytest.mark.parametrize("layer", STYLED_LAYERS)
def test_every_style_keeps_the_standards_order_and_shapes(layer):
    root = read(layer, task_ids=["T1", "T2"])
    assert root.tag == f"{{{SLD}}}StyledLayerDescriptor"
    assert root.get("version") == "1.1.0"
    assert root.findtext("sld:NamedLayer/se:Name", namespaces=SPACES) == layer
    for element in root.iter():
        if plain(element) in ORDER:
            order = ORDER[plain(element)]
            places = [order.index(plain(child)) for child in element]
            if plain(element) != "Rule":
                assert places == sorted(places)
            else:
                first = next(i for i, at in enumerate(places) if at > order.index("Filter"))
                assert places[:first] == sorted(places[:first])
    for shape in root.iterfind(".//se:WellKnownName", SPACES):
        assert shape.text in NAMED_SHAPES


def test_each_class_has_its_colour_and_a_shape_of_its_own():
    found = rules("tree_classes")
    assert list(found) == list(CLASS_MARKS)
    looks = set()
    for name, rule in found.items():
        literal = rule.findtext(".//ogc:Literal", namespaces=SPACES)
        assert literal == name
        colours = {parameter.text for parameter in rule.iterfind(".//se:SvgParameter", SPACES)}
        assert CLASS_MARKS[name].fill in colours
        looks.add(
            tuple(
                (plain(element), element.text)
                for element in rule.iterfind(".//se:Graphic//*", SPACES)
                if plain(element) in ("WellKnownName", "Size", "Rotation", "DisplacementX")
            )
        )
    assert len(looks) == len(CLASS_MARKS)


def test_each_decision_obstacle_and_place_has_its_rule():
    assert list(rules("block_readiness")) == list(DECISION_STYLES)
    assert set(rules("obstacles")) == set(OBSTACLE_KINDS) <= set(LINE_STYLES)
    assert set(rules("places")) == set(PLACE_KINDS) == set(PLACE_MARKS)


def test_each_task_has_its_line_and_arrowheads():
    found = rules("task_walks", task_ids=["G-1", "G-2", "G-3"])
    assert list(found) == ["G-1", "G-2", "G-3"]
    for place, rule in enumerate(found.values()):
        strokes = [one.text for one in rule.iterfind(".//se:SvgParameter[@name='stroke']", SPACES)]
        assert task_style(place).stroke in strokes
        assert rule.find(".//se:GraphicStroke//se:WellKnownName", SPACES).text == "triangle"


class PlanWithTables:
    """A plan to which tables without a place on the map don't matter."""

    def __init__(self, plan):
        self.plan = plan

    timed = pd.DataFrame({"date": []})

    def __getattr__(self, name):
        return getattr(self.plan, name, None)


def test_every_style_names_a_layer_and_columns_that_the_project_has():
    plan = small_plan()
    frames = result_layers(PlanWithTables(plan)) | {
        name: getattr(plan.layers, name) for name in LAYERS
    }
    for layer in STYLED_LAYERS:
        root = read(layer, task_ids=plan.task_sums["task_id"].tolist())
        asked = {name.text for name in root.iterfind(".//ogc:PropertyName", SPACES)}
        assert asked <= set(frames[layer].columns), layer


def test_styles_are_written_one_a_layer(tmp_path):
    written = write_styles(tmp_path / "styles", task_ids=["T1"])
    assert [path.name for path in written] == [f"{layer}.sld" for layer in STYLED_LAYERS]
    for path in written:
        xml.parse(path)


def test_a_layer_without_a_style_is_refused():
    with pytest.raises(SettingError, match="block_readiness"):
        layer_style("crew")
