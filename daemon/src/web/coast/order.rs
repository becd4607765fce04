//! Stations in order, and whom they flank, as the register has it.

use policies::facts::StationId;

use crate::records::Station;
use crate::web::place::View;

impl View<'_> {
    fn record<'r>(&self, stations: &'r [Station], id: StationId) -> Option<&'r Station> {
        stations.iter().find(|station| *station.key == *self.station(id).slug)
    }

    /// Stations from the north of the coast to its south; those without a place last.
    pub(in crate::web) fn coast_order(&self, stations: &[Station]) -> Vec<StationId> {
        let latitude = |id: StationId| {
            let record = self.record(stations, id);
            record.and_then(|station| station.latitude.as_ref()?.parse::<f64>().ok()).unwrap_or(-91.0)
        };
        let mut order: Vec<StationId> =
            (0u32..).zip(&self.fleet.stations).map(|(index, _)| StationId(index)).collect();
        order.sort_by(|a, b| latitude(*b).total_cmp(&latitude(*a)));
        order
    }

    /// The stations that a station's own record names as its flanks.
    pub(in crate::web) fn flanks_of(&self, stations: &[Station], id: StationId) -> Vec<StationId> {
        let flanks = self.record(stations, id).and_then(|station| station.flanks.as_deref());
        let named = flanks.unwrap_or_default().split(';').map(str::trim);
        named.filter_map(|flank| self.find_station(flank)).collect()
    }
}
