//! probe
use baytrim_model::channel::Quantity;
use baytrim_testkit::bay::*; use baytrim_testkit::drive::*; use baytrim_testkit::simulate::*; use baytrim_testkit::truth::*;
fn main() {
    for seed in [1u64, 2, 8, 9, 10] {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let bay = BayOptions { place: SensorPlace::Header, ..BayOptions::from_seed(seed) }.silent();
        let mut path = Path::default();
        let top = truth.axes.rpm.breakpoints()[7];
        path.hold(top, 20.0, 20.0);
        let pull = simulate_path(&truth, &truth.table.values, &path, 1, &bay);
        let lam = pull.samples.channel(Quantity::Lambda).unwrap();
        let node = truth.axes.find(top, 20.0).unwrap();
        let n = lam.len();
        let m: f64 = lam[n/2..].iter().map(|l| (l / truth.target_lambda[node]).ln()).sum::<f64>() / (n - n/2) as f64;
        let gates = baytrim_model::gate::GateSettings { plate_rate_percent_per_s_max: 40.0, settle_s: 0.4, ..Default::default() };
        let zeros = vec![0.0; truth.axes.node_count()];
        let context = baytrim_estimate::PullContext { engine: &truth.engine, axes: &truth.axes, target_lambda: &truth.target_lambda, table: &truth.table, trim_in_force: &zeros, gates: &gates, delay: baytrim_model::bay::DelayChoice::Given(truth.delay_model(&bay)), evidence: baytrim_model::channel::EvidenceKind::Lambda };
        let r = baytrim_estimate::read_pull(&pull.samples, &context).unwrap();
        let f = baytrim_estimate::fit(&truth.axes, &[&r.evidence], &Default::default()).unwrap();
        println!("fit {:.4} se {:.4} {:?}", f.theta[node], f.standard_error[node], r.summary.refused);
        let j = serde_json::to_value(&r.evidence).unwrap();
        println!("{}", serde_json::to_string(&j["blocks"][40]).unwrap());
        println!("seed {seed} cyl {:?} need {:.4} read {:.4} diff {:.4}", truth.cylinder_phi, truth.theta_at_nodes()[node], m, m - truth.theta_at_nodes()[node]);
    }
}
