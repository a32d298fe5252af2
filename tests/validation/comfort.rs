//! Comfort against ISO 7730's own table and pythermalcomfort.

use super::reference::{ReferenceError, Table, parse};
use super::row::{Row, Worst};
use crate::measure::thermal_comfort::{Surroundings, vapour_pressure_of_rh_pa};

const LIBRARY: &str = "pythermalcomfort 4.8.1, model 7730-2005";

pub(super) fn rows() -> Result<Vec<Row>, ReferenceError> {
    let file = parse("comfort.json", include_str!("../reference/comfort.json"))?;
    let mut out = Vec::new();
    let surroundings = |t: &Table<'_>| -> Result<Vec<Surroundings>, ReferenceError> {
        let column = |name: &str| t.column(name);
        let (ta, tr, v) = (
            column("t_air_c")?,
            column("t_radiant_c")?,
            column("air_speed_m_s")?,
        );
        let (rh, met, clo) = (column("rh_percent")?, column("met")?, column("clo")?);
        Ok((0..t.len())
            .map(|i| Surroundings {
                t_air_c: ta[i],
                t_radiant_c: tr[i],
                air_speed_m_s: v[i],
                vapour_pa: vapour_pressure_of_rh_pa(rh[i] / 100.0, ta[i]),
                met: met[i],
                clo: clo[i],
            })
            .collect())
    };
    let table = Table::new(&file, "/table_d1", "/table_d1_columns")?;
    let (mut pmv, mut ppd) = (Worst::default(), Worst::default());
    let printed = table.column("pmv_printed")?;
    let percent = table.column("ppd_printed")?;
    for (i, s) in surroundings(&table)?.iter().enumerate() {
        pmv.add(s.vote().pmv, printed[i]);
        ppd.add(s.vote().ppd_percent, percent[i]);
    }
    let d1 = "ISO 7730:2005 Table D.1, every row";
    out.push(Row::largest("predicted mean vote", d1, pmv, 0.01, "1").remark(
        "row 7 as the standard's own algorithm gives it (0.36); it is remembered as printed 0.50",
    ));
    out.push(Row::largest(
        "predicted share of dissatisfied",
        d1,
        ppd,
        0.5,
        "%",
    ));

    let grid = Table::new(&file, "/grid", "/columns")?;
    let (mut pmv, mut ppd, mut exact) = (Worst::default(), Worst::default(), Worst::default());
    let (votes, percents, exacts) = (
        grid.column("pmv")?,
        grid.column("ppd")?,
        grid.column("pmv_exact")?,
    );
    let valid = grid.values("valid")?;
    let mut alike = 0;
    for (i, s) in surroundings(&grid)?.iter().enumerate() {
        let vote = s.vote();
        pmv.add(vote.pmv, votes[i]);
        ppd.add(vote.ppd_percent, percents[i]);
        exact.add(vote.pmv, exacts[i]);
        alike += usize::from(Some(vote.out_of_range.is_none()) == valid[i].as_bool());
    }
    out.push(
        Row::largest(
            "predicted mean vote on a quasi-random grid",
            LIBRARY,
            pmv,
            1e-9,
            "1",
        )
        .remark("the whole range of the standard"),
    );
    out.push(Row::largest(
        "predicted share of dissatisfied on that grid",
        LIBRARY,
        ppd,
        1e-8,
        "%",
    ));
    out.push(Row::cases(
        "whether the standard stands behind the vote",
        LIBRARY,
        (alike, grid.len()),
    ));
    out.push(
        Row::largest(
            "what the Annex's stopping rule costs on that grid",
            "the standard's equations solved to 1e-12 by scipy",
            exact,
            0.005,
            "1",
        )
        .remark("its iteration is kept, so that published votes are met"),
    );
    Ok(out)
}
