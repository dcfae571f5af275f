// Reads task data with an independent open reader and prints what it found as JSON.
const { ISOXMLManager } = require("isoxml");
const fs = require("fs");
(async () => {
  const m = new ISOXMLManager();
  await m.parseISOXMLFile(new Uint8Array(fs.readFileSync(process.argv[2])), "application/zip");
  const out = { warnings: m.getWarnings ? m.getWarnings() : [], version: m.options.version, tasks: [], fields: [] };
  for (const task of m.getEntitiesOfTag("TSK")) {
    const t = task.attributes;
    const logs = (t.TimeLog || []).map((log) => {
      const parsed = log.parseBinaryFile();
      return { records: parsed.timeLogs.map((r) => ({ t_ms: +r.time, north: r.position.PositionNorth, east: r.position.PositionEast, status: r.position.PositionStatus, values: r.values })), errors: log.parsingErrors };
    });
    const grids = (t.Grid || []).map((g) => ({ ...Object.fromEntries(Object.entries(g.attributes).filter(([, v]) => typeof v !== "object")), bytes: Array.from(g.binaryData) }));
    const zones = (t.TreatmentZone || []).map((z) => ({ code: z.attributes.TreatmentZoneCode, values: (z.attributes.ProcessDataVariable || []).map((p) => [p.attributes.ProcessDataDDI, p.attributes.ProcessDataValue]) }));
    out.tasks.push({ name: t.TaskDesignator, status: t.TaskStatus, logs, grids, zones });
  }
  for (const f of m.getEntitiesOfTag("PFD")) {
    const a = f.attributes;
    const lines = (a.GuidanceGroup || []).flatMap((g) => (g.attributes.GuidancePattern || []).map((p) => ({ name: p.attributes.GuidancePatternDesignator, type: p.attributes.GuidancePatternType, heading: p.attributes.GuidancePatternHeading, points: p.attributes.LineString[0].attributes.Point.map((q) => [q.attributes.PointEast, q.attributes.PointNorth]) })));
    out.fields.push({ name: a.PartfieldDesignator, area: a.PartfieldArea, lines, rings: (a.PolygonnonTreatmentZoneonly || []).map((p) => p.attributes.LineString.map((r) => r.attributes.Point.length)) });
  }
  console.log(JSON.stringify(out));
})();
