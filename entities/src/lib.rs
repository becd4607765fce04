//! entities
