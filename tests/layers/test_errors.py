from layers.errors import CrsError, LayerError, MissingLayerError


def test_an_error_names_file_layer_row_and_remedy():
    error = CrsError.at(
        file="plots.geojson",
        layer="blocks",
        row=7,
        found="no coordinate system",
        expected="one that PROJ knows",
        remedy="Save the layer with its EPSG code.",
    )
    assert isinstance(error, LayerError)
    assert isinstance(error, ValueError)
    for word in ("plots.geojson", "blocks", "row 7", "no coordinate system", "Save the layer"):
        assert word in str(error)


def test_a_missing_file_is_a_file_not_found_error():
    error = MissingLayerError.at(file="x", found="nothing", expected="holdings", remedy="Add it.")
    assert isinstance(error, FileNotFoundError)
    assert "Add it." in str(error)
