// Writes task data with an independent open library: node write_task_data.cjs VERSION OUT.zip
const { ISOXMLManager } = require("isoxml");
const fs = require("fs");
(async () => {
  const m = new ISOXMLManager({ version: Number(process.argv[2]), fmisTitle: "independent", fmisVersion: "1" });
  const make = (tag, attributes) => m.createEntityFromAttributes(tag, attributes);
  const register = (entity) => m.registerEntity(entity);
  const product = make("PDT", { ProductDesignator: "wheat seed" });
  const productRef = register(product);
  m.rootElement.attributes.Product = [product];
  const zone = make("TZN", { TreatmentZoneCode: 1, ProcessDataVariable: [make("PDV", { ProcessDataDDI: "0006", ProcessDataValue: 0, ProductIdRef: productRef })] });
  const outside = make("TZN", { TreatmentZoneCode: 0, ProcessDataVariable: [make("PDV", { ProcessDataDDI: "0006", ProcessDataValue: 500, ProductIdRef: productRef })] });
  const grid = make("GRD", { GridMinimumNorthPosition: 50.5, GridMinimumEastPosition: -104.25, GridCellNorthSize: 0.0002, GridCellEastSize: 0.0003, GridMaximumColumn: 3, GridMaximumRow: 2, Filename: "GRD00007", GridType: "2", TreatmentZoneCode: 1 });
  grid.binaryData = new Uint8Array(new Int32Array([11200, 11200, 0, 9000, 13450, 11200]).buffer);
  const ring = make("LSG", { LineStringType: "1", Point: [[50.5, -104.25], [50.5, -104.24], [50.51, -104.24], [50.5, -104.25]].map(([n, e]) => make("PNT", { PointType: "2", PointNorth: n, PointEast: e })) });
  const field = make("PFD", { PartfieldDesignator: "North quarter", PartfieldArea: 400000, PolygonnonTreatmentZoneonly: [make("PLN", { PolygonType: "1", LineString: [ring] })] });
  const fieldRef = register(field);
  if (Number(process.argv[2]) === 4) {
    const line = make("LSG", { LineStringType: "5", LineStringWidth: 16150, Point: [["6", 50.5, -104.25], ["9", 50.505, -104.2495], ["7", 50.51, -104.25]].map(([t, n, e]) => make("PNT", { PointType: t, PointNorth: n, PointEast: e })) });
    const pattern = make("GPN", { GuidancePatternDesignator: "west curve", GuidancePatternType: "3", LineString: [line] });
    register(pattern);
    const group = make("GGP", { GuidanceGroupDesignator: "lines", GuidancePattern: [pattern] });
    register(group);
    field.attributes.GuidanceGroup = [group];
  }
  m.rootElement.attributes.Partfield = [field];
  const task = make("TSK", { TaskDesignator: "Sow north", TaskStatus: "1", PartfieldIdRef: fieldRef, OutOfFieldTreatmentZoneCode: 0, TreatmentZone: [outside, zone], Grid: [grid] });
  register(task);
  m.rootElement.attributes.Task = [task];
  fs.writeFileSync(process.argv[3], await m.saveISOXML());
})();
