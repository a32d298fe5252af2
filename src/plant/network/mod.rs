//! The air network: pressures at nodes, flows through elements.
//!
//! A node has a fixed pressure (outdoors is 0 Pa) or one to be found; an element joins two nodes
//! and its flow rises with its pressure drop. The balance of every node then has exactly one
//! answer (Birkhoff and Diaz 1956, Collins et al. 1978, from memory), which
//! [`Network::solve`] finds by Newton's method with a line search, starting from the last one.

mod element;
mod finish;
mod solve;

pub use element::{BladeLaw, Law, LinearQuadratic, Power};
pub use solve::NetworkError;

use crate::math::clone_in_place;
use crate::math::sparse_lu::SparseLu;
use crate::plant::fan::FanPoint;
use element::Memo;
use std::collections::BTreeSet;
use thiserror::Error;

/// A node of a network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NodeId(usize);

impl NodeId {
    /// Position among the nodes, in the order they were added.
    pub fn index(self) -> usize {
        self.0
    }
}

/// An element of a network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ElementId(usize);

impl ElementId {
    /// Position among the elements, in the order they were added.
    pub fn index(self) -> usize {
        self.0
    }
}

/// Why a network cannot be built.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum BuildError {
    /// Two nodes or two elements share a name.
    #[error("the name `{0}` is used twice in the air network")]
    Repeated(String),
    /// An element joins a node to itself, or to a node of another network.
    #[error("element `{0}` must join two different nodes of this network")]
    Ends(String),
    /// The law's figures are not usable.
    #[error("element `{0}` has no resistance, or figures that are negative or not numbers")]
    Law(String),
    /// No path of elements with a resistance leads from a node to a fixed pressure.
    #[error("no air path joins `{0}` to a fixed pressure; add leakage or a return path")]
    Sealed(String),
}

#[derive(Debug, Clone)]
struct Node {
    name: String,
    fixed_pa: Option<f64>,
}

/// Collects nodes and elements.
#[derive(Debug, Clone, Default)]
pub struct NetworkBuilder {
    nodes: Vec<Node>,
    elements: Vec<(String, usize, usize, Law)>,
}

impl NetworkBuilder {
    /// Adds a node whose pressure is to be found.
    pub fn node(&mut self, name: &str) -> NodeId {
        self.push(name, None)
    }

    /// Adds a node of fixed pressure, Pa.
    pub fn fixed(&mut self, name: &str, pressure_pa: f64) -> NodeId {
        self.push(name, Some(pressure_pa))
    }

    fn push(&mut self, name: &str, fixed_pa: Option<f64>) -> NodeId {
        self.nodes.push(Node {
            name: name.to_owned(),
            fixed_pa,
        });
        NodeId(self.nodes.len() - 1)
    }

    /// Adds an element; its flow counts positive from the first node to the second.
    pub fn element(&mut self, name: &str, from: NodeId, to: NodeId, law: Law) -> ElementId {
        self.elements.push((name.to_owned(), from.0, to.0, law));
        ElementId(self.elements.len() - 1)
    }

    /// Checks the whole and plans its solution.
    ///
    /// # Errors
    /// [`BuildError`] names the node or element at fault.
    pub fn build(self) -> Result<Network, BuildError> {
        self.check()?;
        let free = |node: usize| self.nodes[node].fixed_pa.is_none();
        let joins_free = |e: &&(String, usize, usize, Law)| free(e.1) && free(e.2);
        let pattern: Vec<(usize, usize)> = self
            .elements
            .iter()
            .filter(joins_free)
            .map(|e| (e.1, e.2))
            .collect();
        // A fixed node keeps a row of its own, joined to no other: it spares every loop a question.
        let lu = SparseLu::new(self.nodes.len(), &pattern);
        let wires = self
            .elements
            .iter()
            .map(|&(_, from, to, _)| Wire {
                from,
                to,
                diagonal_from: lu.slot(from, from),
                diagonal_to: lu.slot(to, to),
                between: if free(from) && free(to) {
                    lu.slot_above(from, to)
                } else {
                    lu.spare_slot()
                },
            })
            .collect();
        let fixed = (0..self.nodes.len()).filter(|&i| !free(i)).collect();
        let diagonal = (0..self.nodes.len()).map(|i| lu.slot(i, i)).collect();
        let nodes = self.nodes.len();
        let count = self.elements.len();
        let (element_names, laws) = self.elements.into_iter().map(|e| (e.0, e.3)).unzip();
        Ok(Network {
            nodes: self.nodes,
            element_names,
            laws,
            wires,
            fixed,
            diagonal,
            lu,
            missing: vec![0.0; count],
            pressures: vec![0.0; nodes],
            imbalance: vec![0.0; nodes],
            step: vec![0.0; nodes],
            chord: vec![0.0; nodes],
            factors_of: vec![f64::NAN; count],
        })
    }

    fn check(&self) -> Result<(), BuildError> {
        let mut seen = BTreeSet::new();
        if let Some(node) = self.nodes.iter().find(|n| !seen.insert(&n.name)) {
            return Err(BuildError::Repeated(node.name.clone()));
        }
        seen.clear();
        let nodes = self.nodes.len();
        for (name, from, to, law) in &self.elements {
            if !seen.insert(name) {
                return Err(BuildError::Repeated(name.clone()));
            }
            if from == to || *from >= nodes || *to >= nodes {
                return Err(BuildError::Ends(name.clone()));
            }
            if !law.is_sound() {
                return Err(BuildError::Law(name.clone()));
            }
        }
        let mut reached: Vec<bool> = self.nodes.iter().map(|n| n.fixed_pa.is_some()).collect();
        let mut grew = true;
        while grew {
            grew = false;
            for (_, from, to, law) in &self.elements {
                if !matches!(law, Law::ConstantFlow(_)) && reached[*from] != reached[*to] {
                    reached[*from] = true;
                    reached[*to] = true;
                    grew = true;
                }
            }
        }
        match reached.iter().position(|r| !r) {
            Some(i) => Err(BuildError::Sealed(self.nodes[i].name.clone())),
            None => Ok(()),
        }
    }
}

/// Where an element sits in the matrix.
#[derive(Debug, Clone, Copy)]
struct Wire {
    from: usize,
    to: usize,
    diagonal_from: usize,
    diagonal_to: usize,
    between: usize,
}

/// A network ready to be solved, with the room it needs to do so.
#[derive(Debug, Clone)]
pub struct Network {
    nodes: Vec<Node>,
    element_names: Vec<String>,
    laws: Vec<Law>,
    wires: Vec<Wire>,
    /// Nodes of fixed pressure.
    fixed: Vec<usize>,
    /// Slot of each node's diagonal.
    diagonal: Vec<usize>,
    lu: SparseLu,
    /// What each law asks for beyond the flow along its tangent, m³/s.
    missing: Vec<f64>,
    /// By node: pressures being tried, flow that is missing, Newton's step; the last two are zero at
    /// fixed nodes.
    pressures: Vec<f64>,
    imbalance: Vec<f64>,
    step: Vec<f64>,
    /// By node: what the laws miss once the step is taken, then the step that mends it.
    chord: Vec<f64>,
    /// The slopes that `lu` holds the factors of; not numbers where it holds none.
    factors_of: Vec<f64>,
}

impl Network {
    /// Starts an empty network.
    pub fn builder() -> NetworkBuilder {
        NetworkBuilder::default()
    }

    /// Gives an element another law: a damper moved, a fan changed its speed.
    ///
    /// The figures are not checked here; [`Network::solve`] reports those it cannot use.
    pub fn set_law(&mut self, element: ElementId, law: Law) {
        if self.laws[element.0] != law {
            self.laws[element.0] = law;
        }
    }

    /// The law of an element.
    pub fn law(&self, element: ElementId) -> &Law {
        &self.laws[element.0]
    }

    /// The law of an element, to change one figure of it.
    pub fn law_mut(&mut self, element: ElementId) -> &mut Law {
        &mut self.laws[element.0]
    }

    /// Changes the pressure of a fixed node, Pa; nodes to be found are left alone.
    pub fn set_fixed_pressure(&mut self, node: NodeId, pressure_pa: f64) {
        if let Some(fixed) = &mut self.nodes[node.0].fixed_pa {
            *fixed = pressure_pa;
        }
    }

    /// Number of nodes.
    pub fn node_count(&self) -> usize {
        self.nodes.len()
    }

    /// Number of elements.
    pub fn element_count(&self) -> usize {
        self.laws.len()
    }

    /// Name of a node.
    pub fn node_name(&self, node: NodeId) -> &str {
        &self.nodes[node.0].name
    }

    /// Name of an element.
    pub fn element_name(&self, element: ElementId) -> &str {
        &self.element_names[element.0]
    }

    /// Where a fan runs in a solved state; `None` for elements that are no fan.
    pub fn fan_point(&self, element: ElementId, state: &NetworkState) -> Option<FanPoint> {
        let wire = &self.wires[element.0];
        match &self.laws[element.0] {
            Law::Fan(law) => {
                let rise_pa = state.pressures[wire.to] - state.pressures[wire.from];
                Some(law.point_near(rise_pa, state.memos[element.0].fan))
            }
            _ => None,
        }
    }
}

/// The way of a node's pressure to where it is now.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Change {
    /// Pressure of the solution before the last, Pa.
    from: f64,
    /// Its change since the one before that, Pa.
    by: f64,
}

/// Pressures and flows, and all that the next solution starts from: the same from here on, whichever
/// network of the same plan and laws finds it.
#[derive(Debug, PartialEq)]
pub struct NetworkState {
    pressures: Vec<f64>,
    flows: Vec<f64>,
    /// Slope of each element, m³/s per Pa.
    slopes: Vec<f64>,
    memos: Vec<Memo>,
    warm: bool,
    changes: Vec<Change>,
    /// How much of `changes` belongs to one motion: see [`Network::solve_ahead`].
    motion: u8,
}

clone_in_place!(NetworkState {
    pressures,
    flows,
    slopes,
    memos,
    warm,
    changes,
    motion
});

impl NetworkState {
    /// A state that has not been solved: the first solution makes its own start.
    pub fn new(network: &Network) -> Self {
        let pressures: Vec<f64> = network
            .nodes
            .iter()
            .map(|n| n.fixed_pa.unwrap_or(0.0))
            .collect();
        Self {
            changes: pressures
                .iter()
                .map(|&from| Change { from, by: 0.0 })
                .collect(),
            motion: 0,
            pressures,
            flows: vec![0.0; network.laws.len()],
            slopes: vec![0.0; network.laws.len()],
            memos: vec![Memo::default(); network.laws.len()],
            warm: false,
        }
    }

    /// Pressure of a node, Pa.
    pub fn pressure_pa(&self, node: NodeId) -> f64 {
        self.pressures[node.0]
    }

    /// Flow through an element from its first node to its second, m³/s.
    pub fn flow_m3_s(&self, element: ElementId) -> f64 {
        self.flows[element.0]
    }

    /// All pressures by [`NodeId::index`], Pa.
    pub fn pressures_pa(&self) -> &[f64] {
        &self.pressures
    }

    /// All flows by [`ElementId::index`], m³/s.
    pub fn flows_m3_s(&self) -> &[f64] {
        &self.flows
    }

    /// Sets where the next solution starts from, Pa; other nodes keep their last pressure.
    pub fn set_start(&mut self, node: NodeId, pressure_pa: f64) {
        self.pressures[node.0] = pressure_pa;
        self.warm = true;
    }
}
