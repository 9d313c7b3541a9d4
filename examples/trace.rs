use nestline::mechanics::problem::Problem;
fn main() {
    let problem: Problem = serde_json::from_reader(std::io::stdin()).unwrap();
    let posed = problem.pose().unwrap();
    let mut settle = nestline::mechanics::Settle::new(problem.settings);
    let s = settle.settle(&posed.scene()).unwrap();
    println!("steps {} factorisations {} flags {:?}", s.steps, s.factorisations, s.flags);
    let mut i = 0;
    for run in &s.energies_n_mm {
        println!("run");
        for e in run { println!("  E {:.12e} res {:.3e}", e, s.residuals_n.get(i).copied().unwrap_or(0.0)); i += 1; }
    }
}
